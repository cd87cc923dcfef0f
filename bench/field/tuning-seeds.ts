/** Fields on which thresholds and starts may be tried. Never quoted as a result. */
export const TUNING_SEEDS = { first: 1, perKind: 10 };
