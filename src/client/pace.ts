/** Frames that the estimate looks back on: enough to smooth, few enough to follow a change of frame size. */
const LOOK_BACK = 24;

/** How fast frames are measured, told from those just done. Pauses do not count. */
export class Pace {
  private spans: number[] = [];
  private since: number | null = null;

  constructor(private readonly now: () => number = () => performance.now()) {}

  /** Work begins, or goes on. */
  go(): void {
    this.since ??= this.now();
  }

  /** Work rests: the time until the next `go` does not count. */
  rest(): void {
    this.since = null;
  }

  /** One more frame is done. */
  done(): void {
    if (this.since === null) return;
    const now = this.now();
    this.spans = [...this.spans.slice(1 - LOOK_BACK), now - this.since];
    this.since = now;
  }

  /** Seconds for `frames` more; null before three are done. */
  secondsFor(frames: number): number | null {
    if (this.spans.length < 3) return null;
    const mean = this.spans.reduce((sum, span) => sum + span, 0) / this.spans.length;
    return (mean * frames) / 1000;
  }
}
