import type { Colour, HeaderNames } from './frame.ts';

/** Which picture of a file is meant; what is left out is the file's first. */
export interface PictureChoice {
  /** Number of the unit (FITS) or page (TIFF), from 0; 'joined' for the parts of one sensor put together. */
  unit?: number | 'joined';
  /** Number of the plane where a picture is a stack of several, from 0. */
  plane?: number;
}

/** One picture of a file that holds several. */
export interface PictureInFile {
  unit: number | 'joined';
  /** What the file calls it, else empty. */
  name: string;
  widthPx: number;
  heightPx: number;
}

/** What a file offers beside the picture that was read. */
export interface FileContents {
  pictures: PictureInFile[];
  chosen: { unit: number | 'joined'; plane: number };
  /** How many planes the chosen picture holds one behind the other; 1 for a frame, and for three colours. */
  planes: number;
}

/** What may lie over the pixels: a pattern as at stored (0, 0), no filters, or as the file says. */
export const FILTER_CHOICES = ['file', 'none', 'RGGB', 'BGGR', 'GRBG', 'GBRG'] as const;
export type FilterChoice = (typeof FILTER_CHOICES)[number];
export type BayerPattern = [Colour, Colour, Colour, Colour];

/** What somebody told about files of one kind; it wins over the file. Null: not told. */
export interface ToldOfKind {
  exposureS: number | null;
  filters: FilterChoice;
}
/** By kind, see `kindOf`; under `ANY_KIND` what holds for every file of whose kind nothing else was told. */
export type Told = Record<string, ToldOfKind>;
export const ANY_KIND = '*';

export const NOTHING_TOLD: ToldOfKind = { exposureS: null, filters: 'file' };

/** Where the header is not clear about a number, and which other value it may mean; the sentence is among the warnings. */
export interface Doubt {
  about: 'exposureS' | 'pixelSizeUm' | 'focalLengthMm';
  says: string;
  used: number;
  instead: number;
}

/** How a frame was read, for the choices that a person may make about it. */
export interface Reading {
  /** Files alike enough that what is told of one holds for the next: format, size and planes. */
  kind: string;
  format: string;
  /** As the file itself says; null where it does not. */
  fileSays: { exposureS: number | null; filters: string | null };
  doubts: Doubt[];
  /** Null when the file holds one picture. */
  contents: FileContents | null;
  /** Null where the format holds none. */
  names: HeaderNames | null;
}
