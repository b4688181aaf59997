// The ward list: the patient is picked by a tap, by typing bed, name or code, or by a wristband reader, which types the
// code and ends with Enter.

import type { JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import type { LocalSession } from '../session';
import { type Patient, type Ward, search } from '../ward';
import { Scan, canScan } from './scan';

export function Patients(p: {
  ward: Ward; chosen: string | undefined; sessions: LocalSession[]; onPatient: (patient: Patient) => void;
}): JSX.Element {
  const [words, setWords] = useState('');
  const [told, tell] = useState('');
  const [scanning, scan] = useState(false);
  const box = useRef<HTMLInputElement>(null);
  // A wristband reader types where the focus is.
  useEffect(() => {
    if (p.chosen === undefined) box.current?.focus({ preventScroll: true });
  }, [p.chosen]);
  const found = search(p.ward, words);
  const pick = (patient: Patient): void => {
    setWords('');
    tell('');
    p.onPatient(patient);
  };
  const look = (typed: string): void => {
    const fitting = search(p.ward, typed);
    const [only] = fitting;
    if (typed.trim() !== '' && fitting.length === 1 && only) pick(only);
    else if (typed.trim() !== '') {
      tell(fitting.length === 0 ? `Nobody on this ward list has “${typed.trim().slice(0, 40)}”.`
        : `${fitting.length} patients fit. Type more, or choose one.`);
      box.current?.select();
    }
  };
  return (
    <section class="patients" aria-label="Ward list">
      <form role="search" onSubmit={(event) => { event.preventDefault(); look(words); }}>
        <label for="search">Bed, name or wristband</label>
        <input id="search" ref={box} type="search" autocomplete="off" autocapitalize="off" spellcheck={false} maxLength={100}
          value={words} enterkeyhint="go" aria-describedby="search-said"
          onInput={(event) => { setWords(event.currentTarget.value); tell(''); }} />
        <p id="search-said" class="said" role="status">{told && <span class="judged confirm">{told}</span>}</p>
        {canScan() && <button type="button" class="chip" onClick={() => scan(true)}>Scan with the camera</button>}
      </form>
      {scanning && <Scan onClose={() => scan(false)} onCode={(code) => {
        scan(false);
        setWords(code);
        look(code);
      }} />}
      <ul>
        {found.map((patient) => {
          const waiting = p.sessions.filter((one) => one.patient === patient.key && one.acknowledged < one.revision).length;
          return (
            <li key={patient.key}>
              <button type="button" class="patient" aria-current={patient.key === p.chosen ? 'true' : undefined}
                onClick={() => pick(patient)}>
                <span class="bed" aria-hidden="true">{patient.bed}</span>
                <span class="name"><span dir="auto">{patient.name}</span>
                  <small><span class="quiet">Bed {patient.bed}, </span><bdi>{patient.code}</bdi>
                    {patient.birthDate && <> · born {patient.birthDate}</>}</small></span>
                {waiting > 0 && <span class="mark">waits</span>}
              </button>
            </li>);
        })}
      </ul>
    </section>
  );
}
