import { spawn, type ChildProcessWithoutNullStreams } from 'node:child_process';
import { createInterface, type Interface } from 'node:readline';

/**
 * A Python script that answers each line of JSON on its standard input with one line of JSON: the measured libraries
 * are loaded once and wait while we work, so that only one process works at a time.
 */
export class Reference {
  private readonly child: ChildProcessWithoutNullStreams;
  private readonly lines: Interface;
  private readonly waiting: { resolve: (line: string) => void; reject: (error: Error) => void }[] = [];

  constructor(script: string) {
    // One thread for the numerical libraries too.
    const env = { ...process.env, OMP_NUM_THREADS: '1', OPENBLAS_NUM_THREADS: '1' };
    this.child = spawn('/usr/bin/python3', ['-W', 'ignore', script], { env });
    this.child.stderr.pipe(process.stderr);
    this.lines = createInterface({ input: this.child.stdout });
    this.lines.on('line', (line) => this.waiting.shift()?.resolve(line));
    this.child.on('exit', (code) => {
      for (const { reject } of this.waiting.splice(0)) reject(new Error(`${script} ended with ${code}`));
    });
  }

  get pid(): number | undefined {
    return this.child.pid;
  }

  async ask<T>(question: object): Promise<T> {
    const answer = new Promise<string>((resolve, reject) => this.waiting.push({ resolve, reject }));
    this.child.stdin.write(`${JSON.stringify(question)}\n`);
    return JSON.parse(await answer) as T;
  }

  close(): void {
    this.child.stdin.end();
  }
}
