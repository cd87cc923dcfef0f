/** Facts about a frame from its header, in one vocabulary whatever the format. Null where the file does not say. */
export interface FrameMeta {
  /** Which reader made it, for messages: "FITS". */
  format: string;
  exposureS: number | null;
  /** ISO 8601, UTC, start of the exposure. */
  startTime: string | null;
  pixelSizeUm: number | null;
  focalLengthMm: number | null;
  apertureMm: number | null;
  obstruction: number | null;
  /** Electrons per ADU of the stored numbers. */
  gainElectronsPerAdu: number | null;
  focusPosition: number | null;
  temperatureC: number | null;
  /** Image type as written: light, dark, flat, bias ... */
  imageType: string | null;
  /** Where the telescope looked and how the sensor lay; null where the file says nothing of it. */
  pointing: Pointing | null;
}

/** What the file says of sky and site; null where it is silent. */
export interface Pointing {
  /** Of the frame's centre, degrees, equinox as written. */
  rightAscensionDeg: number | null;
  declinationDeg: number | null;
  /** Directions on the sensor, degrees from +x towards +y along the stored rows. */
  northDeg: number | null;
  eastDeg: number | null;
  orientationFrom: 'world-coordinates' | 'rotation-keyword' | null;
  /** By the world coordinates. */
  arcsecPerPx: number | null;
  latitudeDeg: number | null;
  /** East positive. */
  longitudeDeg: number | null;
  pierSide: 'east' | 'west' | null;
}

/**
 * Names that a header holds, as written: text from outside, to be shown only as text. They are never kept, and leave the
 * page only when somebody ticks them.
 */
export interface HeaderNames {
  object: string | null;
  observer: string | null;
  telescope: string | null;
  camera: string | null;
  site: string | null;
}

/** Colour of the filter over a pixel: index into the pattern (x & 1) + 2 (y & 1) of the stored rows. */
export type Colour = 'R' | 'G' | 'B';
/** The four colours at stored (0,0), (1,0), (0,1), (1,1). */
export interface Mosaic {
  pattern: [Colour, Colour, Colour, Colour];
}

/**
 * A decoded frame whose pixels lie in the kernels' memory, row by row, in the stored order.
 * Physical value in ADU = zero + scale * stored. u16: stored is an unsigned integer. f32: NaN marks a pixel without
 * value, scale is 1 and zero 0.
 */
export interface Frame {
  meta: FrameMeta;
  widthPx: number;
  heightPx: number;
  pixels: { kind: 'u16' | 'f32'; address: number };
  /** 1, or 3 when the file holds a colour picture in planes R, G, B one behind the other. */
  planes: 1 | 3;
  scale: number;
  zero: number;
  /** Stored value at and above which a pixel is taken as saturated; Infinity when unknown. */
  saturationStored: number;
  mosaic: Mosaic | null;
  /** Absent where the format holds none. */
  names?: HeaderNames;
  warnings: string[];
}

/** What a format without a header knows of the exposure. */
export const NOTHING_KNOWN: Omit<FrameMeta, 'format'> = {
  exposureS: null,
  startTime: null,
  pixelSizeUm: null,
  focalLengthMm: null,
  apertureMm: null,
  obstruction: null,
  gainElectronsPerAdu: null,
  focusPosition: null,
  temperatureC: null,
  imageType: null,
  pointing: null,
};
