// What flapping.mjs needs of the Round page: the page's own code for keeping, sending, merging and correcting.
export { clockOffset } from '../../engine/web/pages/src/clock';
export { all, startSending, wake } from '../../engine/web/pages/src/outbox';
export { emptyDraft } from '../../engine/web/pages/src/round/draft';
export { amend, end, recordDraft } from '../../engine/web/pages/src/round/store';
export { entriesOf, isOpen } from '../../engine/web/pages/src/session';
export { loadWard } from '../../engine/web/pages/src/ward';
