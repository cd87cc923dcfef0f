import type { Frame, Mosaic } from '../protocol/frame.ts';
import { ANY_KIND, NOTHING_TOLD, type BayerPattern, type Reading, type Told } from '../protocol/reading.ts';
import type { Decoded } from './reader.ts';

/** Files alike enough that what is told of one holds for the next: format, size and planes. */
export const kindOf = ({ meta, widthPx, heightPx, planes }: Frame): string =>
  `${meta.format} ${widthPx} x ${heightPx}${planes === 3 ? ' colour' : ''}`;

/** The frame with what was told of its kind, which wins over the file; how it was read; whether filters were told. */
export function withTold(
  { frame, contents, doubts = [] }: Decoded,
  told: Told,
): { frame: Frame; reading: Reading; filtersTold: boolean } {
  const kind = kindOf(frame);
  const { exposureS, filters } = told[kind] ?? told[ANY_KIND] ?? NOTHING_TOLD;
  const reading: Reading = {
    kind,
    format: frame.meta.format,
    fileSays: { exposureS: frame.meta.exposureS, filters: frame.mosaic?.pattern.join('') ?? null },
    doubts,
    contents,
    names: frame.names ?? null,
  };
  return {
    reading,
    filtersTold: filters !== 'file',
    frame: {
      ...frame,
      meta: { ...frame.meta, exposureS: exposureS ?? frame.meta.exposureS },
      mosaic: filters === 'file' || frame.planes === 3 ? frame.mosaic : mosaicOf(filters),
    },
  };
}

const mosaicOf = (filters: string): Mosaic | null =>
  filters === 'none' ? null : { pattern: [...filters] as BayerPattern };
