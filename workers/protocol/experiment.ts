import type { Cause, Experiment, FrameReport } from './report.ts';

/** What the hands did, as far as it is known; everything may be left out. */
export interface Told {
  /** How far the focuser was moved, µm, + = away from the optics; null = not known. */
  stepUm?: number | null;
  /** Only which way: + = away from the optics. */
  stepSign?: 1 | -1 | null;
  /** Turn of the camera as seen in the picture's own axes, degrees from +x towards +y; usually 90 or 180. */
  cameraTurnDeg?: number | null;
  /** Name of the screw and how far it was turned, in whole turns; + = clockwise. */
  screw?: { name: string; turns: number } | null;
  /** What is known of other screws from before. */
  learned?: LearnedScrew[];
  /** Whether focus was set again after the filter went in or out. */
  refocused?: boolean | null;
  /** Side of the tube's mouth that the card covered, as it lies in the picture: degrees from +x towards +y. */
  coveredDeg?: number | null;
}

/** What a screw does to the middle of coma, mm on the sensor per whole turn. */
export interface LearnedScrew {
  name: string;
  xMmPerTurn: number;
  yMmPerTurn: number;
}

/** An experiment as hands do it. */
export interface HowTo {
  experiment: Experiment;
  title: string;
  /** One step a sentence, in order. */
  steps: string[];
  /** Frames to take. */
  frames: number;
  /** What spoils it. */
  beware: string;
}

/** What the frames taken say. Probabilities are 0 to 1 and sum to 1 over the causes held against each other. */
export interface Judgement {
  experiment: Experiment;
  before: Partial<Record<Cause, number>>;
  after: Partial<Record<Cause, number>>;
  /** How much better the leading cause foretells what was seen than the next one. */
  likelihoodRatio: number;
  /** One sentence: what is found and how surely. */
  sentence: string;
  reasons: string[];
  /** The experiment cannot be judged: why, and what to do. Then nothing is learnt: after = before. */
  void: string | null;
  /** Turn of screws: what was learnt, and what to turn next. */
  screws?: { learned: LearnedScrew[]; turn: { name: string; turns: number }[]; leftMm: number } | null;
}

export type { Experiment, FrameReport };
