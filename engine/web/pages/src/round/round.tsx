// One patient's round: the plan, the cards, what was recorded. The draft is kept sealed on this device with every change,
// so that a reload or an empty battery costs nothing.

import type { JSX } from 'preact';
import { useCallback, useEffect, useMemo, useRef, useState } from 'preact/hooks';
import { now } from '../clock';
import { type DryRun, dryRun } from '../engine';
import { type Drawer, deviceDrawer, drawer } from '../kept';
import { objectAt } from '../json';
import type { Table } from '../plausibility';
import { Locked } from '../owner';
import { type LocalSession, entriesOf } from '../session';
import type { Patient, Person, Ward } from '../ward';
import { kStands } from '../words';
import { ActivityCard, PositionCard, Recovery } from './timed_cards';
import { type CardProps, ExerciserCard, FluidsCard, NoteCard, PepCard, RatingCard, TeachingCard, VitalsCard } from './cards';
import { type Card, type Draft, emptyDraft, isTouched, kCards } from './draft';
import { kFields, troubles } from './entries';
import { type Known, history, lastOf } from './last';
import { DueNow } from './due';
import { Plan } from './plan';
import { Receipts, summary } from './receipts';
import { Review, unlooked } from './review';
import { type Said, saidOf, sayingOf } from './said';
import { amend, end, openSession, recordDraft, tryOut } from './store';

const kNames: Record<Card, string> = {
  vitals: 'Readings', exerciser: 'Exerciser', pep: 'Pressure', activity: 'Activity', position: 'Position', rating: 'Rating',
  fluids: 'Fluids', teaching: 'Teaching', note: 'Note',
};
const kAskAfter = 700; // milliseconds without a change

export interface RoundProps {
  ward: Ward; patient: Patient; person: Person; sessions: LocalSession[]; table: Table | undefined; online: boolean;
  onSheet: () => void;
}

// One that was begun before the engine wanted a sign-in goes to who opens it first.
async function ownerless(patient: Patient): Promise<Draft | undefined> {
  const name = `draft-${await deviceDrawer.hidden(patient.key)}`;
  const old = await deviceDrawer.kept<Draft>(name);
  if (old) await deviceDrawer.forget(name);
  return old;
}

// The draft, once it is read from the device; every change is kept before the next. It stays whose it is, also when a
// sign-in ends between two letters.
function useDraft(patient: Patient): [Draft | undefined, (draft: Draft) => void, () => Promise<void>] {
  const [draft, set] = useState<Draft>();
  const place = useRef<{ drawer: Drawer; name: string }>();
  const writing = useRef(Promise.resolve());
  useEffect(() => {
    let here = true;
    void (async () => {
      const mine = await drawer.held();
      const name = `draft-${await mine.hidden(patient.key)}`;
      const old = (await mine.kept<Draft>(name).catch(() => undefined)) ?? (await ownerless(patient).catch(() => undefined));
      place.current = { drawer: mine, name };
      if (here) set(old ? { ...emptyDraft(), ...old } : emptyDraft());
    })();
    return () => { here = false; };
  }, [patient.key]);
  const put = useCallback((next: Draft) => {
    set(next);
    writing.current = writing.current.then(() => place.current?.drawer.keep(place.current.name, next)).catch(() => undefined);
  }, []);
  const drop = useCallback(async () => {
    set(emptyDraft());
    await writing.current;
    await place.current?.drawer.forget(place.current.name);
  }, []);
  return [draft, put, drop];
}

// What the engine says of the draft, asked when nothing has changed for a moment.
function useSaid(p: RoundProps, draft: Draft | undefined, blocked: boolean): { said: Said[]; answer: DryRun | undefined } {
  const [told, tell] = useState<{ said: Said[]; answer: DryRun | undefined }>({ said: [], answer: undefined });
  const sessions = useRef(p.sessions);
  sessions.current = p.sessions;
  useEffect(() => {
    if (!draft || blocked || !p.online || !kCards.some((card) => isTouched(draft, card))) {
      tell({ said: [], answer: undefined });
      return undefined;
    }
    let here = true;
    const timer = setTimeout(() => {
      const tried = tryOut(sessions.current, p.ward, p.patient, p.person, draft);
      void dryRun(tried.session.document).then((answer) => {
        if (here) tell({ said: answer ? saidOf(answer.issues, entriesOf(tried.session), tried.made) : [], answer });
      });
    }, kAskAfter);
    return () => {
      here = false;
      clearTimeout(timer);
    };
  }, [draft, blocked, p.online]);
  return told;
}

function focusOn(card: Card, into: string): void {
  const sheet = document.getElementById(`card-${card}`);
  sheet?.scrollIntoView({ block: 'start', behavior: matchMedia('(prefers-reduced-motion: reduce)').matches ? 'auto' : 'smooth' });
  sheet?.querySelector<HTMLElement>(into)?.focus({ preventScroll: true });
}

export function Round(p: RoundProps): JSX.Element {
  const [draft, setDraft, dropDraft] = useDraft(p.patient);
  const [known, setKnown] = useState<Known[]>([]);
  const [receipt, setReceipt] = useState('');
  const [since, setSince] = useState(0);
  const [sending, setSending] = useState(false);
  const [looked, look] = useState(0); // times that the journal was looked at
  const [shown, show] = useState(false); // what is missing is told once the send was tried
  useEffect(() => {
    if (p.online) history(p.patient).then(setKnown, () => undefined);
  }, [p.patient.key, p.online, looked]);
  const reported = useMemo(() => unlooked(p.patient, p.sessions, known), [p.patient, p.sessions, known]);
  const mine = p.sessions.filter((one) => one.patient === p.patient.key);
  const last = useMemo(() => lastOf(p.patient, p.sessions, known), [p.patient, p.sessions, known]);
  const found = draft ? troubles(p.table, draft) : [];
  const { said, answer } = useSaid(p, draft, found.length > 0);
  if (!draft) return <p class="opening">Opening …</p>;

  const order = objectAt(p.patient.frame, 'order');
  const put = <C extends Card>(card: C, change: Partial<Draft[C]>): void => setDraft({
    ...draft, [card]: { ...draft[card], ...change }, times: { ...draft.times, [card]: draft.times[card] ?? now() },
  });
  const cards: CardProps = {
    draft, put, set: setDraft, table: p.table, order, last, anchors: p.ward.anchors,
    said: (card, field) => {
      const missing = shown && found.find((one) => one.card === card && one.field === field && !kFields.some((f) =>
        f.card === card && f.field === field && one.judged.grade === 'confirm'));
      if (missing) return { text: missing.judged.text, asks: false };
      return sayingOf(said, card, field, kFields.filter((one) => one.card === card).map((one) => one.field));
    },
  };
  const touched = kCards.filter((card) => isTouched(draft, card));
  const open = openSession(p.sessions, p.patient, p.person);

  const send = async (): Promise<void> => {
    if (sending || touched.length === 0) return;
    const [first] = found;
    if (first) {
      show(true);
      setReceipt(`Not sent yet. ${kNames[first.card]}: ${first.judged.text}`);
      focusOn(first.card, '[aria-invalid="true"], button.confirm, select, input, button');
      return;
    }
    setSending(true);
    try {
      const count = await recordDraft(p.ward, p.patient, p.person, draft);
      await dropDraft();
      show(false);
      setSince(0);
      setReceipt(`${count} ${count === 1 ? 'entry' : 'entries'} recorded.`);
    } catch (error) {
      setReceipt(error instanceof Locked ? 'Sign in again first. What you filled in is kept.' : 'This device has no room to keep the entries. Nothing is lost: they are still on this page. Free some room and send again.');
    } finally {
      setSending(false);
    }
  };

  return (
    <div class="round">
      <Plan patient={p.patient} order={order}>
        <div class="row">
          <button type="button" class="chip wide" onClick={p.onSheet}>Sheet for the patient</button>
          {reported.length > 0 && <button type="button" class="chip wide was" onClick={() => {
            const title = document.getElementById('review-title');
            title?.scrollIntoView({ block: 'start' });
            title?.focus({ preventScroll: true });
          }}>{reported.length} to look through</button>}</div>
      </Plan>
      <div class="work">
        <DueNow order={order} sessions={mine} known={known} onGo={() => focusOn('exerciser', 'h2')} />
        <div class="cards">
          {since > 0 && <Recovery since={since} onEnd={() => setSince(0)} onReading={() => {
            put('vitals', { phase: 'recovery' });
            focusOn('vitals', 'input');
          }} />}
          <VitalsCard {...cards} />
          <ExerciserCard {...cards} />
          <PepCard {...cards} />
          <ActivityCard {...cards} onEffortEnd={() => setSince(now())} />
          <PositionCard {...cards} />
          <RatingCard {...cards} />
          <FluidsCard {...cards} />
          <TeachingCard {...cards} />
          <NoteCard {...cards} />
        </div>
      </div>
      <Receipts sessions={mine} table={p.table}
        onAmend={(session, one) => void amend(session, one.entry, one.withdrawn, one.reason, p.person)}
        onEnd={(session) => void end(session)}>
        <Review found={reported} person={p.person} table={p.table} onAgain={() => look(looked + 1)} />
      </Receipts>
      <SendBar touched={touched} receipt={receipt} open={open} sending={sending} answer={answer} online={p.online}
        onSend={() => void send()} draft={draft} />
    </div>
  );
}

function SendBar(p: {
  touched: Card[]; receipt: string; open: LocalSession | undefined; sending: boolean; answer: DryRun | undefined;
  online: boolean; onSend: () => void; draft: Draft;
}): JSX.Element {
  const stand = p.open && (p.open.stand === 'landed' && p.open.acknowledged === p.open.revision ? kStands['landed'] : summary(p.open));
  const held = p.answer?.verdict === 'held' ? ' As it is, the engine will hold it for a person.' : '';
  return (
    <div class="bar">
      <nav class="jump" aria-label="Cards">
        {kCards.map((card) => (
          <button type="button" key={card} class={p.touched.includes(card) ? 'has' : ''}
            aria-label={p.touched.includes(card) ? `${kNames[card]}, filled in` : kNames[card]}
            onClick={() => focusOn(card, 'h2')}>{kNames[card]}</button>))}
      </nav>
      <div class="bar-line">
        <p class="bar-said" role="status">{p.receipt}{stand && p.touched.length === 0 && <> <b>{stand}</b></>}{held}</p>
        <button type="button" class="send" disabled={p.touched.length === 0 || p.sending} onClick={p.onSend}>
          {p.touched.length === 0 ? 'Nothing to send'
            : `${p.online ? 'Send' : 'Keep'} ${p.touched.length} ${p.touched.length === 1 ? 'card' : 'cards'}`}</button>
      </div>
    </div>
  );
}
