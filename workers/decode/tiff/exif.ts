import { NOTHING_KNOWN } from '../../protocol/frame.ts';
import type { Directory } from './directory.ts';
import { TAG } from './tags.ts';

/**
 * What Exif fields say of the exposure; a value that cannot be counts as absent. The clock of a camera has no zone, so
 * its time is not taken for UTC.
 */
export async function exifMeta(exif: Directory): Promise<typeof NOTHING_KNOWN> {
  const within = async (tag: number, least: number, most: number) => {
    const value = await exif.number(tag, NaN);
    return value >= least && value <= most ? value : null;
  };
  return {
    ...NOTHING_KNOWN,
    exposureS: await within(TAG.exposureTime, 1e-6, 1e6),
    focalLengthMm: await within(TAG.focalLength, 5, 200_000),
  };
}
