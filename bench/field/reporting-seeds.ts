/** Fields that are only reported on: no constant was chosen by looking at them. */
export const REPORTING_SEEDS = { first: 9001, perKind: 20 };
