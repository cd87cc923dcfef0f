import type { FrameFacts } from '../../workers/protocol/report.ts';
import type { RigSheet } from '../../workers/rig/sheet.ts';

/** What a frame's header and size say of the rig that made it. */
export function factsOf(frame: FrameFacts): Partial<RigSheet> {
  const { pixelSizeUm, widthPx, heightPx } = frame;
  const sideMm = (px: number) => (pixelSizeUm ? Math.round(px * pixelSizeUm) / 1000 : null);
  return {
    apertureMm: frame.apertureMm,
    focalLengthMm: frame.focalLengthMm,
    obstruction: frame.obstruction,
    pixelSizeUm,
    sensorWidthMm: sideMm(widthPx),
    sensorHeightMm: sideMm(heightPx),
    colour: frame.mosaic ? 'mosaic' : 'mono',
  };
}

/** The part of `facts` that `sheet` does not know yet: what somebody told stays. */
export function blanksFilled(sheet: RigSheet, facts: Partial<RigSheet>): Partial<RigSheet> {
  return Object.fromEntries(
    Object.entries(facts).filter(([key, value]) => value !== null && sheet[key as keyof RigSheet] === null),
  );
}
