/** A gain that the frame's own noise told. */
export interface GainTold {
  electronsPerAdu: number;
  /** Standard error of its natural logarithm. */
  logSigma: number;
}

/** Known to this, widths and shapes have errors as good as with a gain from the file: they go with its root. */
const WELL_KNOWN = 0.25;
const HARDLY_KNOWN = 0.7;

/** What a person should know of a gain that no file told, and what to do where it is not known. */
export function gainSentence({ electronsPerAdu, logSigma }: GainTold): string {
  const silent = 'The file does not tell the gain (EGAIN)';
  if (logSigma < WELL_KNOWN) {
    const error = Math.max(1, Math.round(100 * logSigma));
    return `${silent}; the noise of the frame does: ${short(electronsPerAdu)} electrons per count, give or take ${error} %.`;
  }
  const [least, most] = [-logSigma, logSigma].map((off) => short(electronsPerAdu * Math.exp(off)));
  const range = `${least} to ${most} electrons per count`;
  if (logSigma < HARDLY_KNOWN)
    return `${silent}; the noise of the frame tells it only roughly: ${range}. The errors given for bright stars are as rough.`;
  return `${silent}, and the noise of this frame hardly does: anything from ${range} is possible. The errors given for bright stars are a guess; let the program that takes the frames write the gain into them.`;
}

const short = (value: number) => String(Number(value.toPrecision(value < 10 ? 2 : 3)));
