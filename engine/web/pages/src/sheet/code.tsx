// A link as a code for a phone's camera (ISO/IEC 18004), drawn as one path so that it prints sharply.

import type { JSX } from 'preact';
import qrcode from 'qrcode-generator';

const kQuiet = 4; // modules of white around it, as the standard asks

export function Code(p: { text: string }): JSX.Element {
  const code = qrcode(0, 'M');
  code.addData(p.text);
  code.make();
  const count = code.getModuleCount();
  let path = '';
  for (let row = 0; row < count; row += 1) {
    for (let column = 0; column < count; column += 1) {
      if (code.isDark(row, column)) path += `M${column + kQuiet} ${row + kQuiet}h1v1h-1z`;
    }
  }
  const size = count + 2 * kQuiet;
  return (
    <svg class="code" viewBox={`0 0 ${size} ${size}`} role="img" aria-label="The link as a code for the camera of a phone"
      shape-rendering="crispEdges">
      <rect width={size} height={size} fill="#fff" /><path d={path} fill="#000" /></svg>
  );
}
