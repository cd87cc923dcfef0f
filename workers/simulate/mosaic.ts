/** Colour filters over the sensor: the four letters at stored (0, 0), (1, 0), (0, 1), (1, 1). */
export type MosaicName = 'RGGB' | 'BGGR' | 'GRBG' | 'GBRG';
/** What a pixel sees: one of the filters, or everything (no filter). */
export type Channel = 'mono' | 'R' | 'G' | 'B';

export function channelAt(mosaic: MosaicName | null, xPx: number, yPx: number): Channel {
  return mosaic ? (mosaic[(xPx & 1) + 2 * (yPx & 1)] as Channel) : 'mono';
}

/** The channels that occur, each once. */
export const channelsOf = (mosaic: MosaicName | null): Channel[] => (mosaic ? ['R', 'G', 'B'] : ['mono']);
