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
