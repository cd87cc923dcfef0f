import vuePlugin from 'eslint-plugin-vue';
import tseslint from 'typescript-eslint';

/** A folder and what it must not import, with the reason said to whoever tries. */
const wall = (files, patterns) => ({
  files,
  rules: { 'no-restricted-imports': ['error', { patterns }] },
});
const no = (group, message) => ({ group, message });

const STAGES = [
  'protocol',
  'wasm',
  'math',
  'decode',
  'background',
  'detect',
  'measure',
  'regions',
  'fit',
  'verdict',
  'view',
];
/** A stage may import what stands left of it in STAGES, never what stands right. */
const stageWalls = STAGES.map((stage, index) =>
  wall(
    [`workers/${stage}/**/*.ts`],
    [
      no(
        ['**/src/**', '**/bin/**', '**/test/**'],
        'workers know nothing of the page, the shell or the tests',
      ),
      no(
        STAGES.slice(index + 1)
          .flatMap((later) => [`**/${later}/**`])
          .concat(['**/simulate/**', '**/pipeline*']),
        `imports run one way: ${STAGES.join(' < ')} < pipeline; the simulator stays apart`,
      ),
    ],
  ),
);

export default tseslint.config(
  { ignores: ['dist/**', 'node_modules/**', 'workers/kernels/**', 'public/**'] },
  ...tseslint.configs.recommended,
  ...vuePlugin.configs['flat/essential'],
  { files: ['**/*.vue'], languageOptions: { parserOptions: { parser: tseslint.parser } } },
  {
    rules: {
      '@typescript-eslint/no-non-null-assertion': 'off',
      'vue/multi-word-component-names': 'off',
      'no-console': 'error',
    },
  },
  { files: ['bin/**', 'bench/**'], rules: { 'no-console': 'off' } },
  ...stageWalls,
  wall(
    ['workers/simulate/**/*.ts'],
    [
      no(
        STAGES.filter((stage) => stage !== 'protocol').map((stage) => `**/${stage}/**`),
        'the simulator shares no code with what measures, or tests by rendering would prove nothing',
      ),
    ],
  ),
  wall(
    ['workers/series/**/*.ts'],
    [
      no(
        ['../*', '!../protocol', '!../math', '!../rig', '**/src/**', '**/bin/**', '**/test/**'],
        'a run works on records, never on pixels: it needs only protocol, math and the formulas of rig',
      ),
    ],
  ),
  wall(
    ['workers/experiments/**/*.ts'],
    [
      no(
        ['../*', '!../protocol', '!../rig', '**/src/**', '**/bin/**', '**/test/**'],
        'an experiment is judged by reports alone, on the page itself: it needs only protocol and the formulas of rig',
      ),
    ],
  ),
  wall(
    ['workers/rig/**/*.ts'],
    [
      no(
        ['../*', '!../protocol', '**/src/**'],
        'formulas of the rig stand alone, so that the page may use them without pulling in what measures',
      ),
    ],
  ),
  wall(
    ['src/**/*.ts', 'src/**/*.vue'],
    [
      no(
        [
          '**/workers/*',
          '**/workers/*/**',
          '!**/workers/protocol',
          '!**/workers/protocol/**',
          '!**/workers/rig',
          '!**/workers/rig/**',
          '!**/workers/experiments',
          '!**/workers/experiments/**',
        ],
        'the page sees only workers/protocol, the pure formulas of workers/rig and the judgements of workers/experiments; the rest is reached through src/client',
      ),
    ],
  ),
);
