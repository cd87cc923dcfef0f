/**
 * What may be the matter with one star: bit, name and description, each said once.
 * A star with any bit of `NOT_FOR_SHAPE` is drawn and listed but does not enter the regions' means or the fit.
 */
export const STAR_FLAGS = [
  { bit: 1 << 0, name: 'saturated', says: 'its core reaches the limit of the camera' },
  { bit: 1 << 1, name: 'blended', says: 'another star overlaps it' },
  { bit: 1 << 2, name: 'edge', says: 'it touches the border of the frame' },
  {
    bit: 1 << 3,
    name: 'ring',
    says: 'a defocused ring or a double image: its width at half height means nothing',
  },
  { bit: 1 << 4, name: 'extended', says: 'much larger than the stars around it: a galaxy or a nebula' },
  { bit: 1 << 5, name: 'streak', says: 'far longer than the other stars: a satellite or a bled column' },
  { bit: 1 << 6, name: 'sharp', says: 'narrower than any star here: a hot pixel or a cosmic ray' },
  { bit: 1 << 7, name: 'faint', says: 'too faint for its shape to be trusted' },
  { bit: 1 << 8, name: 'unfitted', says: 'no profile could be fitted to it' },
  { bit: 1 << 9, name: 'undersampled', says: 'narrower than 1.6 px: its width is uncertain' },
] as const;

export type StarFlagName = (typeof STAR_FLAGS)[number]['name'];

/** The bit of each flag, by name. */
export const FLAG = Object.fromEntries(STAR_FLAGS.map((flag) => [flag.name, flag.bit])) as Record<
  StarFlagName,
  number
>;

export const NOT_FOR_SHAPE =
  FLAG.saturated |
  FLAG.blended |
  FLAG.edge |
  FLAG.extended |
  FLAG.streak |
  FLAG.sharp |
  FLAG.faint |
  FLAG.unfitted;

/** Names of the flags set in `bits`, in the order of the registry. */
export const flagNames = (bits: number): StarFlagName[] =>
  STAR_FLAGS.filter((flag) => bits & flag.bit).map((flag) => flag.name);
