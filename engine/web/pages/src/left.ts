// What would stay on this device if its person signed out now. Pure counting.

import { drawer } from './kept';
import { all, unsent } from './outbox';
import { type Draft, isTouched, kCards } from './round/draft';

export interface Left { sessions: number; drafts: number }

export async function leftHere(): Promise<Left> {
  let drafts = 0;
  for (const name of await drawer.namesOf('draft-')) {
    const one = await drawer.kept<Draft>(name).catch(() => undefined);
    if (one && kCards.some((card) => isTouched(one, card))) drafts += 1;
  }
  return { sessions: unsent(await all()).length, drafts };
}

// "2 sessions are not sent, and cards of 1 patient are filled in and not sent."
export function leftWords(left: Left): string {
  const sessions = `${left.sessions} ${left.sessions === 1 ? 'session is' : 'sessions are'} not sent yet`;
  const drafts = `cards of ${left.drafts} ${left.drafts === 1 ? 'patient' : 'patients'} are filled in and not sent`;
  const words = [left.sessions > 0 ? sessions : '', left.drafts > 0 ? drafts : ''].filter((one) => one !== '').join(', and ');
  return words === '' ? '' : `${words.charAt(0).toUpperCase()}${words.slice(1)}.`;
}
