import { render } from 'preact';
import { App } from './app';
import { startSending } from './outbox';

const page = document.getElementById('page');
if (page && !isSecureContext) {
  // Without it the browser has neither encryption nor a worker, and nothing could be kept safely.
  page.textContent = 'These pages need https (or this machine itself). Open the engine by its https address.';
} else if (page) {
  page.textContent = '';
  render(<App />, page);
  startSending();
  void navigator.storage?.persist?.();
  void navigator.serviceWorker?.register('/worker.js').catch(() => undefined);
}
