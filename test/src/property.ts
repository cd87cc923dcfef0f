import fc from 'fast-check';

/** Property tests run from a fixed seed: a red test is red again. */
fc.configureGlobal({ seed: 20260314, numRuns: 60 });
export { fc };
