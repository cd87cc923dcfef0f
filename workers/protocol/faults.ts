/**
 * Expected failures travel as values: an error's class and code do not survive the way from a worker.
 * `message` is one sentence that says what is wrong and what to do; `code` is for programs.
 */
export interface Fault {
  code: FaultCode;
  message: string;
}

export const FAULT_CODES = [
  'cannot-read', // the bytes could not be had: permission, vanished file, a directory
  'not-a-frame', // no format that we know
  'unsupported', // a known format in a form that we do not read
  'damaged', // truncated, or a header that contradicts the data
  'no-image', // a valid file that holds no image
  'too-small', // an image smaller than a few stars
  'too-large', // more pixels than can be held
  'no-signal', // constant, empty or saturated everywhere
  'too-few-stars',
  'not-a-star-field', // cloud, star trails, one huge ring
  'cancelled',
  'internal', // our own mistake: said as such
] as const;
export type FaultCode = (typeof FAULT_CODES)[number];

/** What a step that may fail in an expected way returns. */
export type Outcome<T> = { ok: true; value: T } | { ok: false; fault: Fault };

export const success = <T>(value: T): Outcome<T> => ({ ok: true, value });
export const failure = (code: FaultCode, message: string): Outcome<never> => ({
  ok: false,
  fault: { code, message },
});
