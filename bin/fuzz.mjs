// `npm run fuzz -- CASES [WORD]`: many mutated files through the decoders, CASES for each way of changing them, of those
// test files whose name holds WORD (fits, tiff, png, others). What goes wrong is kept in test-output/fuzz.
import { spawnSync } from 'node:child_process';

const [cases = '5000', word = ''] = process.argv.slice(2);
const { status } = spawnSync(
  'npx',
  [
    '--no-install',
    'vitest',
    'run',
    '--project',
    'unit',
    '--no-file-parallelism',
    '--testTimeout',
    '7200000',
    `test/decode/fuzz/${word}`,
  ],
  { stdio: 'inherit', env: { ...process.env, FUZZ_RUNS: cases } },
);
process.exit(status ?? 1);
