// Why somebody who does not treat looks at records: sent with every request of this tab, and written into the log under
// the name of who is signed in. So it goes with what that person asks and with nobody else's requests.

import { howItStands } from './owner';

const kWhy = 'read-why';
interface Why { name: string; why: string }

function kept(): Why | undefined {
  try {
    return JSON.parse(sessionStorage.getItem(kWhy) ?? '{}') as Why;
  } catch {
    return undefined;
  }
}

export function sayWhy(name: string, why: string): void {
  sessionStorage.setItem(kWhy, JSON.stringify({ name, why }));
}

// What that person said in this tab; '' when it was nothing.
export function whyOf(name: string): string {
  const said = kept();
  return name !== '' && said?.name === name ? said.why : '';
}

// Of whoever is signed in now: this tab may not have heard yet that another one signed somebody else in.
export async function whyNow(): Promise<string> {
  if (sessionStorage.getItem(kWhy) === null) return '';
  return howItStands().then((one) => whyOf(one.name), () => '');
}

// Forgets it, unless it is that person's.
export function keepWhyOf(name: string): void {
  if (kept()?.name !== name) sessionStorage.removeItem(kWhy);
}
