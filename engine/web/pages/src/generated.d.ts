// Made by build.mjs from profiles/session: the value sets of the model, [code, display] in order.
declare module 'generated/codes.json' {
  const sets: Record<string, [string, string][]>;
  export default sets;
}
declare const EDITION: string;
