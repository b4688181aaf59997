import type { JSX } from 'preact';
import { render } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import { deviceDrawer } from '../kept';
import { Phone } from './phone';
import { kEmergency } from './plan';
import { kLast } from './queue';
import { tokenOf } from './token';

// The token stands behind '#', which no browser sends.
function App(): JSX.Element {
  const [token, setToken] = useState<string>();
  const [typed, type] = useState('');
  useEffect(() => {
    const look = (): void => {
      const found = tokenOf(location.hash);
      if (found) {
        setToken(found);
        void deviceDrawer.keep(kLast, found).catch(() => undefined);
      } else {
        void deviceDrawer.kept<string>(kLast).then((one) => setToken(one ?? ''), () => setToken(''));
      }
    };
    look();
    addEventListener('hashchange', look);
    return () => removeEventListener('hashchange', look);
  }, []);
  if (token === undefined) return <p class="opening">Opening …</p>;
  if (token !== '') return <Phone key={token} token={token} />;
  return (
    <main class="patient-sheet"><h1>My breathing exercises</h1>
      <form onSubmit={(event) => { event.preventDefault(); location.hash = tokenOf(typed); }}>
        <label for="typed">Open the link on your sheet with the camera of this phone, or type what stands behind the # in it</label>
        <input id="typed" type="text" autocomplete="off" autocapitalize="off" spellcheck={false} maxLength={80} value={typed}
          onInput={(event) => type(event.currentTarget.value)} />
        <button type="submit" class="send" disabled={tokenOf(typed) === ''}>Open</button></form>
      <p>{kEmergency}</p></main>
  );
}

const page = document.getElementById('page');
if (page && !isSecureContext) {
  page.textContent = 'This page needs https. Ask your therapist for the address that begins with https.';
} else if (page) {
  page.textContent = '';
  render(<App />, page);
  void navigator.storage?.persist?.();
  void navigator.serviceWorker?.register('/worker.js').catch(() => undefined);
}
