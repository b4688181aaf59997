// Codes of the model in the words of the trade.

import codes from 'generated/codes.json';

export function options(set: string): [string, string][] {
  return codes[set] ?? [];
}
export function word(code: string): string {
  for (const set of Object.values(codes)) {
    const found = set.find(([one]) => one === code);
    if (found) return found[1];
  }
  return code;
}
export function wordIn(set: string, code: string): string {
  return options(set).find(([one]) => one === code)?.[1] ?? code;
}

export const kStands: Record<string, string> = {
  waiting: 'Waits on this device', accepted: 'Taken in', checked: 'Checked', dispatched: 'On its way',
  landed: 'In the chart', held: 'Held', refused: 'Refused', superseded: 'Carried by a later one',
  withdrawn: 'Given up',
};
export const kCaution =
  'Limits and computed values support and never replace local orders, protocols and licensed judgement. '
  + 'Chartferry is not a medical device.';
