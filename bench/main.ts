// `npm run bench -- NAME [...]`: measures what tests cannot assert, because it depends on the machine or takes minutes.
const BENCHES: Record<string, { says: string; load: () => Promise<{ run(args: string[]): Promise<void> }> }> =
  {
    speed: {
      says: 'what each feature costs against sep at 2, 9 and 26 MP, memory, a drop on the built page; [megapixels]',
      load: () => import('./speed.ts'),
    },
    precision: {
      says: 'bias and scatter over the Cramer-Rao bound, and beside sep and photutils; [part of a case name] [alone] [ideal] [coarse] [frames]',
      load: () => import('./precision/precision.ts'),
    },
    shared: {
      says: 'completeness, positions and widths on ../shared/frames',
      load: () => import('./shared.ts'),
    },
    'half-flux': {
      says: 'bias of half-flux diameters and rms widths of comets, rings and astigmatic stars by signal to noise; [shape] [faint]',
      load: () => import('./half-flux.ts'),
    },
    gain: {
      says: 'gain told by the frame itself against the simulated one: scatter and stated error; [part of a case name] [frames]',
      load: () => import('./gain.ts'),
    },
    viewer: {
      says: 'the built page: weight of its scripts, first verdict on screen, panning against an empty shader; [megapixels]',
      load: () => import('./viewer.ts'),
    },
    pool: {
      says: 'frames of 2 MP through the page: frames a second by workers, memory on the way; [frames] [workers ...]',
      load: () => import('./pool.ts'),
    },
    records: {
      says: 'judging and tracking a run of 100, 500 and 2000 records: time, and what goes to the page',
      load: () => import('./records.ts'),
    },
    field: {
      says: 'causes, parameters, budget and confidence over simulated fields; [tuning|reporting|shared|tables] ...',
      load: () => import('./field.ts'),
    },
    together: {
      says: 'poor fields: one frame against five fitted together; [tuning|reporting|tables] ...',
      load: () => import('./together.ts'),
    },
    coherence: {
      says: 'what stars leave in common if round and under the fitted model, with the verdict; [frames or folders]',
      load: () => import('./coherence.ts'),
    },
    focus: {
      says: 'focus runs: tilt, focus and curvature against the truth; [runs]',
      load: () => import('./focus.ts'),
    },
  };

export {};

const [name, ...rest] = process.argv.slice(2);
const bench = BENCHES[name ?? ''];
if (bench) await (await bench.load()).run(rest);
else {
  console.error('Usage: npm run bench -- NAME\n');
  for (const [each, { says }] of Object.entries(BENCHES)) console.error(`  ${each.padEnd(10)} ${says}`);
  process.exitCode = 2;
}
