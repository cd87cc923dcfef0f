/** One example frame that comes with the page: an entry of demo/index.json, whose first is what the page opens with. */
export interface DemoFrame {
  /** Name beside index.json. */
  file: string;
  title: string;
  /** A sentence or two of what happened, without the verdict. */
  story: string;
  instrument: string;
  /** Size of the file. */
  bytes: number;
}

/** Where the list lies, relative to the page. */
export const DEMO_INDEX = 'demo/index.json';
