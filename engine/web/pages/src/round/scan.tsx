// The browser's own barcode reader, where it has one: a wristband's code is looked for like a typed one. The picture
// stays on the device, and the camera is let go as soon as a code is read or the dialog closed.

import type { JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import { Dialog } from '../controls';

interface Detector { detect(source: HTMLVideoElement): Promise<{ rawValue: string }[]> }
declare global {
  // Shape Detection API, not in every browser.
  var BarcodeDetector: (new () => Detector) | undefined;
}
const kLookEvery = 250; // milliseconds

export function canScan(): boolean {
  return typeof globalThis.BarcodeDetector === 'function' && navigator.mediaDevices?.getUserMedia !== undefined;
}

export function Scan(p: { onCode: (code: string) => void; onClose: () => void }): JSX.Element {
  const video = useRef<HTMLVideoElement>(null);
  const [said, say] = useState('');
  useEffect(() => {
    let stream: MediaStream | undefined;
    let timer: ReturnType<typeof setInterval> | undefined;
    let here = true;
    const stop = (): void => {
      here = false;
      clearInterval(timer);
      stream?.getTracks().forEach((track) => track.stop());
    };
    const start = async (): Promise<void> => {
      if (!globalThis.BarcodeDetector) return;
      const detector = new globalThis.BarcodeDetector();
      stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: 'environment' }, audio: false });
      if (!here || !video.current) {
        stop();
        return;
      }
      video.current.srcObject = stream;
      void video.current.play().catch(() => undefined); // without a picture yet, a look finds nothing
      timer = setInterval(() => {
        if (!video.current) return;
        detector.detect(video.current).then((found) => {
          const code = found.find((one) => one.rawValue.trim() !== '')?.rawValue.trim();
          if (!code || !here) return;
          stop();
          p.onCode(code);
        }, () => undefined);
      }, kLookEvery);
    };
    start().catch(() => { if (here) say('The camera cannot be used. Type the code, or use a reader.'); });
    return stop;
  }, []);
  return (
    <Dialog title="Scan the wristband" onClose={p.onClose}>
      <video ref={video} class="scan" muted playsInline aria-label="Picture of the camera" />
      <p role="status">{said && <span class="judged refuse">{said}</span>}</p>
      <p class="none">Hold the code in the picture. The picture is not kept.</p>
    </Dialog>
  );
}
