// Where the reader is, in the address after '#': "traffic", "message/ID/REVISION", ... A session's id is made of its
// identifier by SHA-1 and says nothing about a patient; what is searched for never stands there.

import { useEffect, useState } from 'preact/hooks';

export function usePlace(): string[] {
  const read = (): string[] => location.hash.replace(/^#/, '').split('/').filter((one) => one !== '');
  const [place, set] = useState(read());
  useEffect(() => {
    const moved = (): void => set(read());
    addEventListener('hashchange', moved);
    return () => removeEventListener('hashchange', moved);
  }, []);
  return place;
}
