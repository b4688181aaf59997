// Judges a value by the engine's own table (GET /plausibility), so that the field can answer while the network is off.
// What needs more than the value (the last reading, a prediction, the order) is left to the engine's dry run.

export interface Bounds { low: number; high: number }
export interface Datum {
  id: string;
  display: string;
  elements: string[];
  units?: string[];
  compareIn?: string;
  refuse?: Bounds;
  confirm?: Bounds;
  suspect?: (Bounds & { unit?: string; probably: string })[];
  confirmByDevice?: (Bounds & { device: string })[];
  values?: number[];
}
export interface Table { datum: Datum[] }

export type Grade = 'good' | 'confirm' | 'refuse';
export interface Judged { grade: Grade; text: string }
const kGood: Judged = { grade: 'good', text: '' };

export interface Place { element: string; unit?: string; device?: string }

export function datumOf(table: Table | undefined, element: string): Datum | undefined {
  return table?.datum.find((one) => one.elements.includes(element));
}

export function judge(table: Table | undefined, place: Place, text: string): Judged {
  const datum = datumOf(table, place.element);
  if (!datum || text === '') return kGood;
  const value = Number(text);
  const unit = place.unit ?? '';
  const shown = `${datum.display} ${text}${unit ? ` ${spoken(unit)}` : ''}`;
  const outside = (bounds: Bounds): boolean => value < bounds.low || value > bounds.high;
  const range = (bounds: Bounds): string =>
    `${bounds.low} to ${bounds.high}${unit ? ` ${spoken(datum.compareIn ?? unit)}` : ''}`;
  const comparable = unit === '' || datum.compareIn === undefined || unit === datum.compareIn;
  if (datum.refuse && comparable && outside(datum.refuse)) {
    return { grade: 'refuse', text: `${shown} is impossible: it lies within ${range(datum.refuse)}.` };
  }
  if (datum.values && !datum.values.includes(value)) {
    return { grade: 'refuse', text: `${shown} is not on the scale: ${datum.values.join(', ')}.` };
  }
  const suspect = datum.suspect?.find((one) => (one.unit === undefined || one.unit === unit) && !outside(one));
  if (suspect) return { grade: 'confirm', text: `${shown}: ${suspect.probably}.` };
  if (datum.confirm && comparable && outside(datum.confirm)) {
    return { grade: 'confirm', text: `${shown} is outside the usual ${range(datum.confirm)}.` };
  }
  const byDevice = datum.confirmByDevice?.find((one) => one.device === place.device);
  if (byDevice && outside(byDevice)) {
    return { grade: 'confirm', text: `${shown} is outside the usual ${range(byDevice)} of this device.` };
  }
  return kGood;
}

// UCUM as people read it.
export function spoken(unit: string): string {
  return { 'cm[H2O]': 'cmH₂O', 'mm[Hg]': 'mmHg', Cel: '°C', '[degF]': '°F' }[unit] ?? unit;
}
