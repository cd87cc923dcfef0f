import type { FrameFacts } from '../protocol/report.ts';
import type { Rig } from '../protocol/rig.ts';
import { EFFECTIVE_WAVELENGTH_UM } from './optics.ts';
import type { Optics } from './optics.ts';

/** A small telescope of nobody in particular, where nothing is known. */
const ASSUMED = { focalRatio: 5, pixelUm: 3.8, obstruction: 0.3 };

export type OpticsFacts = Pick<FrameFacts, 'focalLengthMm' | 'apertureMm' | 'pixelSizeUm' | 'obstruction'>;

export interface ChosenOptics {
  optics: Optics;
  known: { focalRatio: boolean; pixelSize: boolean; obstruction: boolean };
  focalLengthMm: number | null;
  warnings: string[];
}

/** Optics from the rig, else from the frame, else assumed (and said so). A wrong assumption hardly moves the verdict. */
export function chooseOptics(facts: OpticsFacts, rig: Rig): ChosenOptics {
  const focalLengthMm = rig.focalLengthMm ?? facts.focalLengthMm;
  const apertureMm = rig.apertureMm ?? facts.apertureMm;
  const pixelUm = rig.pixelSizeUm ?? facts.pixelSizeUm;
  const obstruction = rig.obstruction ?? facts.obstruction;
  const focalRatio = focalLengthMm && apertureMm ? focalLengthMm / apertureMm : null;
  const warnings: string[] = [];
  const missing = [focalRatio === null ? 'focal ratio' : '', pixelUm === null ? 'pixel size' : ''].filter(
    Boolean,
  );
  if (missing.length > 0)
    warnings.push(
      `Nothing says the ${missing.join(' and the ')}: an f/${ASSUMED.focalRatio} telescope with ${ASSUMED.pixelUm} µm pixels was assumed, so lengths are told in pixels only; enter the telescope to get micrometres.`,
    );
  return {
    optics: {
      focalRatio: focalRatio ?? ASSUMED.focalRatio,
      pixelUm: pixelUm ?? ASSUMED.pixelUm,
      obstruction: obstruction ?? ASSUMED.obstruction,
      wavelengthUm: EFFECTIVE_WAVELENGTH_UM,
    },
    known: {
      focalRatio: focalRatio !== null,
      pixelSize: pixelUm !== null,
      obstruction: obstruction !== null,
    },
    focalLengthMm,
    warnings,
  };
}
