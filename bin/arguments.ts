import { parseArgs } from 'node:util';
import { FILTER_CHOICES, NOTHING_TOLD, type FilterChoice } from '../workers/protocol/reading.ts';
import type { PictureChoice, ToldOfKind } from '../workers/protocol/reading.ts';
import type { Rig } from '../workers/protocol/rig.ts';
import { LEAST_TOGETHER } from '../workers/protocol/together.ts';

export interface Arguments {
  files: string[];
  json: boolean;
  stars: boolean;
  fit: boolean;
  /** The files are one run of frames. */
  series: boolean;
  /** The files are frames of one field, explained together; the first is the one asked about. */
  together: boolean;
  /** Signed: + = a larger focus position moves the sensor away from the optics. */
  focusUmPerStep: number | null;
  rig: Partial<Rig>;
  /** What the files cannot say of themselves. */
  told: ToldOfKind;
  /** Of the camera, electrons; null = not told. */
  readNoiseElectrons: number | null;
  /** Which picture of each file. */
  choice: PictureChoice;
}

export const USAGE = `Usage: npm run --silent measure -- [--json] [--stars] [--series | --together] [--no-fit]
           [--focal-length MM] [--aperture MM] [--obstruction RATIO] [--pixel UM]
           [--usual-seeing ARCSEC] [--focus-um-per-step UM] [--exposure S]
           [--mosaic PATTERN] [--picture N] [--plane N] FILE...

Measures the stars of raw exposures and compares centre and corners.
  --json    one JSON object per file on standard output, nothing else
  --stars   list every star as well
  --series  take the files as one run of frames of one field, in order of time: how the
            field moved, how long an exposure may be, or a focus run; reported at the end
  --together  take two to six frames of one field, one after the other and nothing touched in
            between, as one: what repeats is the telescope, what does not is air and mount;
            the first file is the one that is asked about
  --no-fit  stop after the measurement
  --mosaic  colour filters from the first stored pixel: RGGB, BGGR, GRBG, GBRG or none
  --read-noise  with gain and exposure in the file: how long a sub the sky asks for
  --picture, --plane  which picture of a file that holds several, counted from 1
  --focus-um-per-step  how far one step of the focuser moves the sensor, + = a larger
            position moves it away from the optics
What an option says overrides the file's header. Exit status: 0 all files analysed,
1 some file had a fault, 2 wrong usage.
`;

interface Limits {
  option: string;
  unit: string;
  above: number;
  below: number;
  whole?: boolean;
}

const NUMBERS = {
  'focal-length': { unit: 'mm', above: 0, below: 100_000 },
  aperture: { unit: 'mm', above: 0, below: 20_000 },
  obstruction: { unit: '(ratio of diameters)', above: -1e-9, below: 1 },
  pixel: { unit: 'µm', above: 0, below: 1000 },
  'usual-seeing': { unit: 'arcsec', above: 0, below: 60 },
  'focus-um-per-step': { unit: 'µm', above: -1e6, below: 1e6 },
  exposure: { unit: 's', above: 0, below: 1e6 },
  'read-noise': { unit: 'electrons', above: 0, below: 1000 },
  picture: { unit: '(the first is 1)', above: 0, below: 10_000, whole: true },
  plane: { unit: '(the first is 1)', above: 0, below: 1e6, whole: true },
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
        together: { type: 'boolean' },
        'no-fit': { type: 'boolean' },
        'focal-length': { type: 'string' },
        aperture: { type: 'string' },
        obstruction: { type: 'string' },
        pixel: { type: 'string' },
        'usual-seeing': { type: 'string' },
        'focus-um-per-step': { type: 'string' },
        exposure: { type: 'string' },
        mosaic: { type: 'string' },
        'read-noise': { type: 'string' },
        picture: { type: 'string' },
        plane: { type: 'string' },
      },
    });
    if (positionals.length === 0) throw new Error('Name at least one file.');
    if (values.together && values.series)
      throw new Error('--together and --series answer different questions: give one of them.');
    if (values.together && values['no-fit'])
      throw new Error('--together is a fit: it cannot go with --no-fit.');
    if (values.together && positionals.length < LEAST_TOGETHER)
      throw new Error('--together needs at least two files of one field.');
    const number = (option: keyof typeof NUMBERS) =>
      readNumber(values[option], { option, ...NUMBERS[option] });
    const focusUmPerStep = number('focus-um-per-step');
    if (focusUmPerStep === 0)
      throw new Error('--focus-um-per-step must not be 0: give the travel of one step in µm, with its sign.');
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
        told: {
          ...NOTHING_TOLD,
          exposureS: number('exposure'),
          filters: readFilters(values.mosaic),
        },
        readNoiseElectrons: number('read-noise'),
        choice: choiceOf(number('picture'), number('plane')),
        series: values.series ?? false,
        together: values.together ?? false,
        focusUmPerStep,
        rig: Object.fromEntries(Object.entries(given).filter(([, value]) => value !== null)),
      },
    };
  } catch (error) {
    return { ok: false, message: (error as Error).message };
  }
}

function readNumber(text: string | undefined, limits: Limits): number | null {
  if (text === undefined) return null;
  const { option, unit, above, below, whole = false } = limits;
  const value = Number(text);
  if (text.trim() === '' || !(value > above && value < below) || (whole && !Number.isInteger(value)))
    throw new Error(
      `--${option} takes a ${whole ? 'whole ' : ''}number ${unit.startsWith('(') ? unit : `of ${unit}`} below ${below}; "${text}" is none.`,
    );
  return value;
}

function readFilters(text: string | undefined): FilterChoice {
  if (text === undefined) return 'file';
  const choice = FILTER_CHOICES.find((each) => each.toLowerCase() === text.toLowerCase());
  if (choice) return choice;
  throw new Error(`--mosaic takes RGGB, BGGR, GRBG, GBRG or none; "${text}" is none of them.`);
}

const choiceOf = (picture: number | null, plane: number | null): PictureChoice => ({
  ...(picture === null ? {} : { unit: picture - 1 }),
  ...(plane === null ? {} : { plane: plane - 1 }),
});
