import { InlineStarPool } from '../../workers/fit/star-pool.ts';
import { explainFrame } from '../../workers/physics.ts';
import { FIT_STAMPS, type Physics } from '../../workers/protocol/api.ts';
import { UNKNOWN_RIG, type Rig } from '../../workers/protocol/rig.ts';
import { bytesSource } from '../../workers/decode/sources.ts';
import { writeFits16, type FitsCard } from '../../workers/simulate/fits.ts';
import { testSession, type Frame16 } from './star-frames.ts';

/** What a frame with enough stars gets, all of it. */
export type Explained = { [K in keyof Physics]: NonNullable<Physics[K]> };

/** From pixels to the verdict, as page and shell do it; throws where a frame gets no verdict. */
export async function explained(frame: Frame16, cards: FitsCard[], rig: Partial<Rig>): Promise<Explained> {
  const session = await testSession();
  const bytes = writeFits16(frame.pixels, frame.widthPx, frame.heightPx, cards);
  const whole = { ...UNKNOWN_RIG, ...rig };
  const measured = await session.measure(bytesSource('test.fits', bytes), { rig: whole });
  if (!measured.ok) throw new Error(measured.fault.message);
  const { report, handle } = measured.value;
  const stamps = session.stamps(handle, FIT_STAMPS);
  if (!stamps.ok) throw new Error(stamps.fault.message);
  const physics = await explainFrame(stamps.value, report, whole, (set, optics) =>
    InlineStarPool.create(set, optics),
  );
  if (!physics.ok) throw new Error(physics.fault.message);
  return physics.value as Explained;
}
