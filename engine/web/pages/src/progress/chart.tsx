// One chart: uPlot draws lines, bands and axes; the points are buttons over it, so that each is reached by pointer and
// by keyboard (one Tab stop, then arrows) and names itself.

import type { JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import uPlot from 'uplot';
import { clockText, dayOf } from '../clock';
import type { Point, Source } from './gather';

export interface Line {
  label: string;
  unit: string;
  points: Point[];
  colour: string; // a custom property of page.css
  shape: 'dots' | 'line' | 'steps' | 'marks'; // marks: a cross, for events
  still?: boolean; // without buttons
}
export interface ChartProps {
  title: string;
  lines: Line[];
  from: number; // milliseconds
  to: number;
  low: number;
  high: number;
  height: number;
  zone?: { low?: number | undefined; high?: number | undefined } | undefined; // ordered range
  level?: { value: number; label: string } | undefined; // a goal
  onOpen: (source: Source) => void;
}

interface Spot { x: number; y: number; point: Point; line: Line }

function colour(name: string): string {
  return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
}

function tableOf(line: Line): uPlot.AlignedData {
  const kept = new Map(line.points.map((one) => [one.time / 1000, one.value]));
  const times = [...kept.keys()].sort((a, b) => a - b);
  return [times, times.map((one) => kept.get(one) ?? null)] as uPlot.AlignedData;
}

function seriesOf(line: Line): uPlot.Series {
  const none = (): null => null;
  const drawn = line.shape === 'line' || line.shape === 'steps';
  return {
    label: line.label,
    stroke: () => colour(line.colour),
    fill: line.shape === 'steps' ? () => `${colour(line.colour)}30` : undefined,
    width: drawn ? 2 : 0,
    spanGaps: drawn,
    paths: line.shape === 'steps' ? uPlot.paths.stepped?.({ align: 1 }) : line.shape === 'line' ? undefined : none,
    points: { show: line.shape !== 'marks', size: line.shape === 'dots' ? 6 : 5, fill: () => colour(line.colour) },
  } as uPlot.Series;
}

// The ordered range as a band, the goal as a line, the events as crosses: under and over what uPlot draws itself.
function hooksOf(p: ChartProps, spotted: (spots: Spot[]) => void): uPlot.Hooks.Arrays {
  return {
    drawClear: [(u) => {
      const { ctx, bbox } = u;
      ctx.save();
      if (p.zone) {
        const top = u.valToPos(Math.min(p.zone.high ?? p.high, p.high), 'y', true);
        const bottom = u.valToPos(Math.max(p.zone.low ?? p.low, p.low), 'y', true);
        ctx.fillStyle = colour('--tint');
        ctx.fillRect(bbox.left, top, bbox.width, bottom - top);
      }
      if (p.level) {
        const y = u.valToPos(p.level.value, 'y', true);
        ctx.strokeStyle = colour('--sea');
        ctx.setLineDash([6 * devicePixelRatio, 4 * devicePixelRatio]);
        ctx.beginPath();
        ctx.moveTo(bbox.left, y);
        ctx.lineTo(bbox.left + bbox.width, y);
        ctx.stroke();
      }
      ctx.restore();
    }],
    draw: [(u) => {
      const left = u.bbox.left / devicePixelRatio;
      const top = u.bbox.top / devicePixelRatio;
      const spots: Spot[] = [];
      for (const line of p.lines) {
        for (const point of line.points) {
          if (point.time < p.from || point.time > p.to) continue;
          const x = left + u.valToPos(point.time / 1000, 'x');
          const y = top + u.valToPos(Math.min(Math.max(point.value, p.low), p.high), 'y');
          if (line.shape === 'marks') {
            const { ctx } = u;
            const r = 5;
            ctx.save();
            ctx.scale(devicePixelRatio, devicePixelRatio);
            ctx.strokeStyle = colour(line.colour);
            ctx.lineWidth = 2.5;
            ctx.beginPath();
            ctx.moveTo(x - r, y - r);
            ctx.lineTo(x + r, y + r);
            ctx.moveTo(x + r, y - r);
            ctx.lineTo(x - r, y + r);
            ctx.stroke();
            ctx.restore();
          }
          if (!line.still) spots.push({ x, y, point, line });
        }
      }
      spotted(spots.sort((a, b) => a.x - b.x));
    }],
  };
}

// Hours as the wards write them, and the day where one begins.
function ticksOf(_plot: uPlot, splits: number[], _axis: number, _space: number, step: number): string[] {
  return splits.map((one) => {
    const clock = clockText(one * 1000);
    return step >= 86_400 || clock === '00:00' ? dayOf(one * 1000).slice(5) : clock;
  });
}

function when(time: number): string {
  return `${dayOf(time).slice(5)} ${clockText(time)}`;
}

const kReach = 28; // CSS pixels from a point that a tap may miss it by

// Points lie over each other: a tap or the mouse means the nearest.
function nearest(spots: Spot[], event: MouseEvent): number {
  const box = (event.currentTarget as HTMLElement).getBoundingClientRect();
  const far = (one: Spot): number => Math.hypot(event.clientX - box.left - one.x, event.clientY - box.top - one.y);
  const best = spots.reduce((a, one, i) => (a < 0 || far(one) < far(spots[a] ?? one) ? i : a), -1);
  const spot = spots[best];
  return spot && far(spot) <= kReach ? best : -1;
}

export function Chart(p: ChartProps): JSX.Element {
  const box = useRef<HTMLDivElement>(null);
  const [spots, setSpots] = useState<Spot[]>([]);
  const [at, setAt] = useState(0);
  const [near, setNear] = useState(-1);
  useEffect(() => {
    const node = box.current;
    if (!node) return undefined;
    const wide = (): number => Math.max(240, node.clientWidth);
    const axis = { stroke: () => colour('--soft'), grid: { stroke: () => colour('--line'), width: 1 }, ticks: { show: false }, font: '12px system-ui, sans-serif' };
    const data = uPlot.join(p.lines.map(tableOf));
    const plot = new uPlot({
      width: wide(), height: p.height, legend: { show: false }, cursor: { show: false }, padding: [8, 24, 0, 0],
      scales: { x: { time: true, range: [p.from / 1000, p.to / 1000] }, y: { range: [p.low, p.high] } },
      series: [{}, ...p.lines.map(seriesOf)],
      axes: [{ ...axis, size: 30, space: 64, values: ticksOf }, { ...axis, size: 44 }],
      hooks: hooksOf(p, setSpots),
    }, data, node);
    const redraw = (): void => plot.setSize({ width: wide(), height: p.height });
    const watcher = new ResizeObserver(redraw);
    watcher.observe(node);
    const scheme = matchMedia('(prefers-color-scheme: dark)');
    const repaint = (): void => plot.redraw(false, true);
    scheme.addEventListener('change', repaint);
    addEventListener('beforeprint', repaint);
    addEventListener('afterprint', repaint);
    return () => {
      watcher.disconnect();
      scheme.removeEventListener('change', repaint);
      removeEventListener('beforeprint', repaint);
      removeEventListener('afterprint', repaint);
      plot.destroy();
    };
  }, [p.lines, p.from, p.to, p.low, p.high, p.height, p.zone?.low, p.zone?.high, p.level?.value]);
  const current = Math.min(at, Math.max(0, spots.length - 1));
  const move = (event: KeyboardEvent, i: number): void => {
    const to = event.key === 'ArrowRight' ? i + 1 : event.key === 'ArrowLeft' ? i - 1 : event.key === 'Home' ? 0
      : event.key === 'End' ? spots.length - 1 : -1;
    if (to < 0 || to >= spots.length) return;
    event.preventDefault();
    setAt(to);
    (box.current?.parentElement?.querySelectorAll('.spot')[to] as HTMLElement | undefined)?.focus();
  };
  const named = p.lines.filter((one) => !one.still);
  return (
    <figure class="chart">
      <figcaption><h2>{p.title}</h2>
        <span class="key">{p.lines.filter((one) => one.label !== '').map((one) => <span key={one.label} class={`key-of is-${one.shape}`} data-colour={one.colour}>{one.label}</span>)}
          {p.level && <span class="key-of is-level">{p.level.label}</span>}{p.zone && <span class="key-of is-zone">ordered range</span>}</span></figcaption>
      <div class="plot">
        <div ref={box} aria-hidden="true" />
        {spots.length > 0 && <div class="spots" role="group" aria-label={`${p.title}: ${spots.length} points, arrows lead from one to the next`}
          onPointerMove={(event) => setNear(nearest(spots, event))} onPointerLeave={() => setNear(-1)}
          onClick={(event) => {
            const i = (event.target as HTMLElement).classList.contains('spot') && event.detail === 0 ? current : nearest(spots, event);
            const spot = spots[i];
            if (!spot) return;
            setAt(i);
            p.onOpen(spot.point.source);
          }}>
          {spots.map((one, i) => (
            <button type="button" class="spot" key={i} tabIndex={i === current ? 0 : -1} style={{ left: `${one.x}px`, top: `${one.y}px` }}
              aria-label={`${named.length > 1 ? `${one.line.label}, ` : ''}${when(one.point.time)}: ${one.point.value} ${one.line.unit}. ${one.point.name}`}
              onKeyDown={(event) => move(event, i)} onFocus={() => { setAt(i); setNear(i); }} onBlur={() => setNear(-1)} />))}
          {spots[near] && <span class="tip" aria-hidden="true" style={{ left: `${Math.min(Math.max(spots[near].x, 70), (box.current?.clientWidth ?? 300) - 70)}px`, top: `${spots[near].y}px` }}>
            {when(spots[near].point.time)} <b>{spots[near].point.value} {spots[near].line.unit}</b></span>}
        </div>}
      </div>
    </figure>
  );
}
