import type { Fault, FaultCode } from '../protocol/faults.ts';

/**
 * An expected failure on its way out of the readers. `decodeFrame` turns it into a value; nothing else may catch
 * it, so that a mistake of our own is never taken for a bad file.
 */
export class DecodeFault extends Error {
  readonly fault: Fault;

  constructor(code: FaultCode, message: string) {
    super(message);
    this.name = 'DecodeFault';
    this.fault = { code, message };
  }
}

export const isAbort = (error: unknown): boolean => error instanceof Error && error.name === 'AbortError';

/** "12.3 MB", "840 bytes": a size for a sentence. */
export function sizeText(bytes: number): string {
  if (bytes >= 1e6) return `${(bytes / 1e6).toFixed(1)} MB`;
  if (bytes >= 1e4) return `${(bytes / 1e3).toFixed(0)} kB`;
  return `${bytes} bytes`;
}
