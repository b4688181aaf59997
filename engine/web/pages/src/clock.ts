// Time as the engine has it. A phone's clock may be hours off; what it says is corrected by what the engine's last
// answer said, and the page tells when the two differ by more than a minute or two.

let offset = Number(localStorage.getItem('clock-offset') ?? '0') || 0;
export const kWorthTelling = 120_000; // milliseconds

// `date`: the Date header of an answer (whole seconds) that took `took` milliseconds.
export function learn(date: string | null, took: number): void {
  const theirs = date === null ? NaN : Date.parse(date);
  if (Number.isNaN(theirs) || took > 10_000) return;
  const difference = theirs + 500 + took / 2 - Date.now();
  // Below a few seconds the header says nothing.
  offset = Math.abs(difference) < 5_000 ? 0 : Math.round(difference);
  localStorage.setItem('clock-offset', String(offset));
}
export function clockOffset(): number {
  return offset;
}
export function now(): number {
  return Date.now() + offset;
}

const two = (n: number): string => String(Math.trunc(n)).padStart(2, '0');

// A FHIR dateTime in this device's zone, whole seconds.
export function stamp(time: number): string {
  const at = new Date(time);
  const east = -at.getTimezoneOffset();
  const zone = `${east < 0 ? '-' : '+'}${two(Math.abs(east) / 60)}:${two(Math.abs(east) % 60)}`;
  return `${dayOf(time)}T${two(at.getHours())}:${two(at.getMinutes())}:${two(at.getSeconds())}${zone}`;
}
export function dayOf(time: number): string {
  const at = new Date(time);
  return `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())}`;
}
export function clockText(time: number): string {
  const at = new Date(time);
  return `${two(at.getHours())}:${two(at.getMinutes())}`;
}
// "at 14:05" of today, else the day with it.
export function ago(time: string): string {
  const at = Date.parse(time);
  return dayOf(at) === dayOf(now()) ? `at ${clockText(at)}` : `on ${dayOf(at)} at ${clockText(at)}`;
}
// "15:20" of the day of `near`; after `near` it is the day before's. NaN when it is no time.
export function atClock(text: string, near: number): number {
  const found = /^([01]?\d|2[0-3]):([0-5]\d)$/.exec(text.trim());
  if (!found) return NaN;
  const at = new Date(near);
  at.setHours(Number(found[1]), Number(found[2]), 0, 0);
  return at.getTime() > near + 60_000 ? at.getTime() - 86_400_000 : at.getTime();
}
// "2:05"
export function lasted(milliseconds: number): string {
  const seconds = Math.max(0, Math.floor(milliseconds / 1000));
  const hours = Math.floor(seconds / 3600);
  const minutes = Math.floor(seconds / 60) % 60;
  return hours > 0 ? `${hours}:${two(minutes)}:${two(seconds % 60)}` : `${minutes}:${two(seconds % 60)}`;
}
