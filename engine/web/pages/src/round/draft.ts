// What has been put in and not recorded yet, one card a kind of entry. Texts are as typed (readNumber makes numbers of
// them). A card becomes an entry when it holds something.

export interface Vitals {
  phase: string; saturation: string; device: string; flow: string; fraction: string; pulse: string; breathingRate: string;
}
export interface Breath { volume: string; at: number }
export interface Draft {
  vitals: Vitals;
  exerciser: { breaths: Breath[]; other: string; technique: string };
  pep: { repetitions: number; pressure: string };
  position: { position: string; help: string; from: number; to: number };
  activity: {
    what: string; help: string; before: string; lowest: string; after: string; distance: string; from: number; to: number;
  };
  rating: { breathlessness: string; exertion: string };
  fluids: { volume: string; what: string };
  teaching: { topic: string; learner: string[]; teachBack: string };
  note: { text: string };
  times: Partial<Record<Card, number>>; // when the first thing of a card was put in
  confirmed: Partial<Record<Card, string>>; // what a person stood by, as confirmation() prints it
}
export type Card = Exclude<keyof Draft, 'times' | 'confirmed'>;
export const kCards: Card[] =
  ['vitals', 'exerciser', 'pep', 'activity', 'position', 'rating', 'fluids', 'teaching', 'note'];

export function emptyDraft(): Draft {
  return {
    vitals: { phase: 'rest', saturation: '', device: '', flow: '', fraction: '', pulse: '', breathingRate: '' },
    exerciser: { breaths: [], other: '', technique: '' },
    pep: { repetitions: 0, pressure: '' },
    position: { position: '', help: '', from: 0, to: 0 },
    activity: { what: '', help: '', before: '', lowest: '', after: '', distance: '', from: 0, to: 0 },
    rating: { breathlessness: '', exertion: '' },
    fluids: { volume: '', what: '' },
    teaching: { topic: '', learner: [], teachBack: '' },
    note: { text: '' },
    times: {},
    confirmed: {},
  };
}

export function isTouched(draft: Draft, card: Card): boolean {
  switch (card) {
    case 'vitals': {
      const { phase: _, ...readings } = draft.vitals;
      return Object.values(readings).some((one) => one.trim() !== '');
    }
    case 'exerciser': return draft.exerciser.breaths.length > 0;
    case 'pep': return draft.pep.repetitions > 0 || draft.pep.pressure.trim() !== '';
    case 'position': return draft.position.position !== '';
    case 'activity': {
      const { from: _, to: __, ...told } = draft.activity;
      return Object.values(told).some((one) => one.trim() !== '');
    }
    case 'rating': return draft.rating.breathlessness !== '' || draft.rating.exertion !== '';
    case 'fluids': return draft.fluids.volume.trim() !== '' || draft.fluids.what.trim() !== '';
    case 'teaching': return draft.teaching.topic.trim() !== '' || draft.teaching.teachBack !== '';
    case 'note': return draft.note.text.trim() !== '';
  }
}

// The same values confirmed again need no second word; other values do.
export function confirmation(draft: Draft, card: Card): string {
  return JSON.stringify(draft[card]);
}
export function isConfirmed(draft: Draft, card: Card): boolean {
  return draft.confirmed[card] === confirmation(draft, card);
}
