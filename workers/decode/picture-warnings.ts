export interface PictureKind {
  format: string;
  bits: number;
  /** Three colours for each pixel. */
  colour: boolean;
  /** The file says how its colours are to be shown: made for the screen. */
  colourProfile: boolean;
  lossy: boolean;
  /** The file says which colour filters lie over its pixels. */
  tellsFilters: boolean;
}

/** What cannot be trusted in a picture that is no camera's own frame, a sentence each. */
export function pictureWarnings(kind: PictureKind): string[] {
  const warnings: string[] = [];
  if (kind.lossy)
    warnings.push(
      `A ${kind.format} is developed and smoothed by its compression: small stars are altered, faint ones lost. Take its widths and elongations as hints, and give the raw exposure where you can.`,
    );
  else if (kind.colour && (kind.bits === 8 || kind.colourProfile))
    warnings.push(
      `This ${kind.format} is made for the screen: its brightness is probably stretched, which makes stars look wider and rounder than they are. Compare corners with centre, but do not trust widths; a raw exposure is better.`,
    );
  else if (kind.colourProfile)
    warnings.push(
      `This ${kind.format} says how it is to be shown on a screen. If its brightness was stretched, stars look wider than they are; a raw exposure is better.`,
    );
  if (kind.bits === 8 && !kind.lossy)
    warnings.push(
      'It has 8 bits, 256 steps from black to white: the noise of the sky is lost between the steps, so error bars are rough. Record 16 bits.',
    );
  if (kind.format !== 'DNG')
    warnings.push(
      `A ${kind.format} ${kind.tellsFilters ? 'does not tell the pixel size' : 'tells nothing of exposure, pixel size and colour filters'}: on the page, say it once under File, and it is remembered.`,
    );
  return warnings;
}
