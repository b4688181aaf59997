// What a person types as a number, kept as text: "92,5" and " 92.5 " are both 92.5, and 92.50 keeps its digits.

export interface Typed {
  text: string; // as it goes on the wire; '' when nothing was typed or when it is no number
  problem: string; // '' when it is a number or nothing
}

export function readNumber(typed: string): Typed {
  const plain = typed.normalize('NFKC').trim();
  if (plain === '') return { text: '', problem: '' };
  const found = /^([-−])?(\d{1,9})?(?:[.,](\d{0,6}))?$/.exec(plain);
  if (!found || (found[2] === undefined && !found[3])) {
    return { text: '', problem: `“${shorten(plain)}” is no number. Write digits, such as 92 or 92,5.` };
  }
  const whole = (found[2] ?? '0').replace(/^0+(?=\d)/, '');
  const text = (found[1] ? '-' : '') + whole + (found[3] ? `.${found[3]}` : '');
  return { text: /^-0(\.0*)?$/.test(text) ? text.slice(1) : text, problem: '' };
}

function shorten(text: string): string {
  const letters = [...text];
  return letters.length > 20 ? `${letters.slice(0, 20).join('')}…` : text;
}

// One step up or down in the steps of a control, rounded to them; keeps '' as the start value.
export function stepped(text: string, by: number, start: number): string {
  if (text === '') return String(start);
  const places = Math.max(decimals(String(by)), decimals(text));
  return (Number(text) + by).toFixed(places).replace(/(\.\d*?)0+$/, '$1').replace(/\.$/, '');
}

function decimals(text: string): number {
  return text.split('.')[1]?.length ?? 0;
}
