import { parseArgs } from 'node:util';
import type { Rig } from '../workers/protocol/rig.ts';

export interface Arguments {
  files: string[];
  json: boolean;
  stars: boolean;
  fit: boolean;
  rig: Partial<Rig>;
}

export const USAGE = `Usage: npm run --silent measure -- [--json] [--stars] [--no-fit]
           [--focal-length MM] [--aperture MM] [--obstruction RATIO] [--pixel UM]
           [--usual-seeing ARCSEC] FILE...

Measures the stars of raw exposures and compares centre and corners.
  --json    one JSON object per file on standard output, nothing else
  --stars   list every star as well
  --no-fit  stop after the measurement
What an option says overrides the file's header. Exit status: 0 all files analysed,
1 some file had a fault, 2 wrong usage.
`;

interface Limits {
  option: string;
  unit: string;
  above: number;
  below: number;
}

const NUMBERS = {
  'focal-length': { unit: 'mm', above: 0, below: 100_000 },
  aperture: { unit: 'mm', above: 0, below: 20_000 },
  obstruction: { unit: '(ratio of diameters)', above: -1e-9, below: 1 },
  pixel: { unit: 'µm', above: 0, below: 1000 },
  'usual-seeing': { unit: 'arcsec', above: 0, below: 60 },
  'focus-um-per-step': { unit: 'µm', above: -1e6, below: 1e6 },
} as const;

/** Reads the command line; a wrong one is answered with a sentence. */
export function parseArguments(
  words: string[],
): { ok: true; value: Arguments } | { ok: false; message: string } {
  try {
    const { values, positionals } = parseArgs({
      args: words,
      allowPositionals: true,
      options: {
        json: { type: 'boolean' },
        stars: { type: 'boolean' },
        series: { type: 'boolean' },
        'no-fit': { type: 'boolean' },
        'focal-length': { type: 'string' },
        aperture: { type: 'string' },
        obstruction: { type: 'string' },
        pixel: { type: 'string' },
        'usual-seeing': { type: 'string' },
        'focus-um-per-step': { type: 'string' },
      },
    });
    if (positionals.length === 0) throw new Error('Name at least one file.');
    if (values.series) throw new Error('--series is not there yet: frames are measured one by one.');
    const number = (option: keyof typeof NUMBERS) =>
      readNumber(values[option], { option, ...NUMBERS[option] });
    number('focus-um-per-step'); // belongs to a run of frames; checked, so that a script's typing error shows
    const given = {
      focalLengthMm: number('focal-length'),
      apertureMm: number('aperture'),
      obstruction: number('obstruction'),
      pixelSizeUm: number('pixel'),
      usualSeeingArcsec: number('usual-seeing'),
    };
    return {
      ok: true,
      value: {
        files: positionals,
        json: values.json ?? false,
        stars: values.stars ?? false,
        fit: !values['no-fit'],
        rig: Object.fromEntries(Object.entries(given).filter(([, value]) => value !== null)),
      },
    };
  } catch (error) {
    return { ok: false, message: (error as Error).message };
  }
}

function readNumber(text: string | undefined, { option, unit, above, below }: Limits): number | null {
  if (text === undefined) return null;
  const value = Number(text);
  if (text.trim() === '' || !(value > above && value < below))
    throw new Error(`--${option} takes a number of ${unit} below ${below}; "${text}" is none.`);
  return value;
}
