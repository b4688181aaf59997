// The token of a link, as it is written and as it is typed. Its letters have neither i, l, o nor u.

const kLength = 28;

// "abcd-efgh-…", as it stands on paper.
export function grouped(token: string): string {
  return token.match(/.{1,4}/g)?.join('-') ?? '';
}

// '' when it is none.
export function tokenOf(typed: string): string {
  const plain = typed.toLowerCase().replace(/^.*#/, '').replace(/[^0-9a-z]/g, '').replace(/o/g, '0').replace(/[il]/g, '1');
  return plain.length === kLength && !plain.includes('u') ? plain : '';
}
