import type { SeriesRecord } from '../protocol/series.ts';
import { layFrames } from './register.ts';

/** Numbers of one telescope and camera in two headers agree better than this. */
const SAME_PART = 0.01;

/**
 * Which frames were taken with the first one's telescope, camera and focus of the first one's field, and are not the
 * same exposure twice: for each frame null, or a sentence that says why it is another.
 */
export function strangersAmong(records: readonly SeriesRecord[]): (string | null)[] {
  const [first] = records;
  const { laid } = layFrames(records);
  const registered = laid[0]?.ok ?? false;
  return records.map((record, i) => {
    const { fault } = record.report;
    if (fault) return fault.message;
    if (i === 0) return null;
    const twin = records.slice(0, i).find((earlier) => sameExposure(earlier, record));
    if (twin) return `It is the same exposure as ${twin.report.file}: each frame counts once.`;
    const rig = otherRig(first, record);
    if (rig) return rig;
    const own = laid[i];
    if (!own.ok) return own.sentence;
    return registered
      ? null
      : 'Its stars match none of the first frame’s: frames of one field are needed, one after the other.';
  });
}

function otherRig({ report: first, meta }: SeriesRecord, { report, meta: own }: SeriesRecord): string | null {
  const a = first.frame;
  const b = report.frame;
  if (!a || !b) return null;
  if (a.widthPx !== b.widthPx || a.heightPx !== b.heightPx)
    return `It is ${b.widthPx} x ${b.heightPx} px, the first frame ${a.widthPx} x ${a.heightPx} px: take all frames with one camera setting.`;
  if (a.mosaic !== b.mosaic)
    return 'One camera has colour filters and the other has none: take all frames with one camera.';
  const parts: [string, number | null, number | null, string][] = [
    ['focal length', a.focalLengthMm, b.focalLengthMm, 'mm'],
    ['aperture', a.apertureMm, b.apertureMm, 'mm'],
    ['pixel', a.pixelSizeUm, b.pixelSizeUm, 'µm'],
  ];
  for (const [name, one, other, unit] of parts)
    if (one && other && Math.abs(Math.log(one / other)) > SAME_PART)
      return `It was taken with another telescope or camera (${name} ${other} ${unit}, the first frame ${one} ${unit}): what the optics do is then not the same.`;
  if (meta.focusPosition !== null && own.focusPosition !== null && meta.focusPosition !== own.focusPosition)
    return `The focuser stood elsewhere (${own.focusPosition}, in the first frame ${meta.focusPosition}): give frames between which nobody touched it, or use them as a focus run.`;
  return null;
}

/** The same pixels give the same stars to the last digit; two exposures never do. */
const sameExposure = ({ stars: a }: SeriesRecord, { stars: b }: SeriesRecord): boolean =>
  a.count > 0 &&
  a.count === b.count &&
  a.xPx.every((x, i) => x === b.xPx[i] && a.yPx[i] === b.yPx[i] && a.fluxAdu[i] === b.fluxAdu[i]);
