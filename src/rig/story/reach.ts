import { glassShiftMm, glassSphericalUm } from '../../../workers/rig/filter-glass.ts';
import {
  correctorSpacersMm,
  plateForShortMm,
  reachFocus,
  type Reach,
  type ReachAnswer,
} from '../../../workers/rig/focus-reach.ts';
import { GREEN_UM } from '../../../workers/rig/image-scale.ts';
import type { RigSheet } from '../../../workers/rig/sheet.ts';
import { neededStopMm } from '../../../workers/rig/vignetting.ts';
import { ratioText, tell, told, type Told } from './told.ts';

/** Depths at which cameras of today carry their sensor behind the front flange (common practice, no source). */
export const COMMON_FLANGES_MM = [12.5, 17.5];

/** The lengths of the sheet as a stack; null while the height of the focal plane or the flange depth is not told. */
export function reachOf(sheet: RigSheet, flangeDepthMm = sheet.flangeDepthMm): Reach | null {
  if (sheet.focusHeightMm === null || flangeDepthMm === null) return null;
  return {
    focusHeightMm: sheet.focusHeightMm,
    travelMm: sheet.focuserTravelMm,
    adapters: sheet.adapters,
    flangeDepthMm,
    glass:
      sheet.filterThicknessMm && sheet.filterIndex
        ? { thicknessMm: sheet.filterThicknessMm, index: sheet.filterIndex }
        : null,
  };
}

/** "Focus is reached, 2.5 mm out from the stop." */
export function answerSentence(answer: ReachAnswer): string {
  switch (answer.verdict) {
    case 'reached':
      return `Focus is reached with the drawtube ${told(answer.rackOutMm, 'mm')} out from its inner stop.`;
    case 'short-inward':
      return `Focus is not reached: ${told(answer.shortMm, 'mm')} of in-travel are missing.`;
    case 'short-outward':
      return `Focus is not reached: the drawtube would have to come out ${told(answer.shortMm, 'mm')} farther than it can.`;
  }
}

export function reach(sheet: RigSheet): Told {
  const what = {
    id: 'reach',
    title: 'Does it reach focus?',
    formula: 'rack out by = height of focal plane + t(1 − 1/n) − adapters − flange depth',
    source: 'Addition of lengths; plane plate in a converging cone (textbook, paraxial).',
  };
  return tell(what, sheet, ['focusHeightMm', 'flangeDepthMm'], (known) => {
    const answer = reachFocus(reachOf(known)!);
    const says = [answerSentence(answer)];
    if (answer.glassShiftMm > 0)
      says.push(
        `The filter’s glass moves the focus out by ${told(answer.glassShiftMm, 'mm')}; that is ${answer.verdict === 'short-inward' ? 'already' : ''} counted.`.replace(
          'is  counted',
          'is counted',
        ),
      );
    if (known.fixed.focuserAtStop && answer.verdict === 'reached')
      says.push(
        'You said that the focuser stands at its stop: then look at the height of the focal plane again.',
      );
    for (const flange of COMMON_FLANGES_MM) {
      if (flange === known.flangeDepthMm) continue;
      const other = reachFocus(reachOf(known, flange)!);
      const words =
        other.verdict === 'reached'
          ? 'focus is reached'
          : `${told(other.shortMm, 'mm')} ${other.verdict === 'short-inward' ? 'inwards' : 'outwards'} are missing`;
      says.push(`With a camera whose sensor lies ${flange} mm deep, ${words}.`);
    }
    return says;
  });
}

/** What can be done when focus is not reached, each with its number and its price. */
export function waysOut(sheet: RigSheet, barlow: number): string[] {
  const stack = reachOf(sheet);
  if (!stack) return [];
  const answer = reachFocus(stack);
  if (answer.verdict === 'reached') return [];
  if (answer.verdict === 'short-outward')
    return [
      `An extension of at least ${told(answer.shortMm, 'mm')} between drawtube and camera.`,
      'Or move the main mirror down by as much, where the tube allows.',
    ];
  const short = answer.shortMm;
  const ways: string[] = [];
  const longest = [...sheet.adapters].sort((a, b) => b.lengthMm - a.lengthMm)[0];
  ways.push(
    longest && longest.lengthMm > 0
      ? `A lower adapter: “${longest.name}” takes ${told(longest.lengthMm, 'mm')}; ${longest.lengthMm >= short ? `one of ${told(longest.lengthMm - short, 'mm')} would do` : 'even without it some is missing'}.`
      : 'Nothing stands between drawtube and camera that could be lower; a camera that goes inside the drawtube, or a lower focuser, remains.',
  );
  const plate = plateForShortMm(short);
  ways.push(glassWay(sheet, plate));
  if (!sheet.fixed.primary) {
    ways.push(
      `Move the main mirror up the tube by ${told(short, 'mm')} (longer screws, spacers), or shorten the tube or part-collapse the truss by as much.${secondaryCheck(sheet, short)}`,
    );
  } else
    ways.push(
      `Shorten the tube or part-collapse the truss by ${told(short, 'mm')}; the mirror itself is fixed here.${secondaryCheck(sheet, short)}`,
    );
  const ratio = sheet.focalLengthMm && sheet.apertureMm ? sheet.focalLengthMm / sheet.apertureMm : null;
  ways.push(
    `A Barlow lens brings the focus out, but ${ratio ? `${ratioText(ratio)} becomes ${ratioText(ratio * barlow)}` : `the focal ratio grows ${told(barlow, '')} times`} and exposures ${told(barlow ** 2, '')} times as long.`,
  );
  return ways;
}

function glassWay(sheet: RigSheet, plate: number): string {
  const ratio = sheet.focalLengthMm && sheet.apertureMm ? sheet.focalLengthMm / sheet.apertureMm : null;
  const waves = ratio ? glassSphericalUm(plate, 1.5168, ratio) / GREEN_UM : null;
  return `A plane plate of crown glass, ${told(plate, 'mm')} thick in all, moves the focus out that far${
    waves === null ? '' : ` and adds ${told(waves, 'waves')} of spherical aberration`
  }${plate > 10 ? '; that is more than filters have' : ''}.`;
}

/** Moving the focus out makes the cone wider at the secondary: is it still large enough for the middle? */
function secondaryCheck(sheet: RigSheet, moved: number): string {
  const { secondaryMinorMm, secondaryToFocusMm, apertureMm, focalLengthMm } = sheet;
  if (!secondaryMinorMm || !secondaryToFocusMm || !apertureMm || !focalLengthMm)
    return ' Check that the secondary still catches the whole cone.';
  const needed = neededStopMm(secondaryToFocusMm + moved, 0, apertureMm, focalLengthMm);
  return ` The cone is then ${told(needed, 'mm')} wide at the secondary, which has ${told(secondaryMinorMm, 'mm')}${
    needed > secondaryMinorMm ? ': it would cut the light even in the middle' : ''
  }.`;
}

/** Where a corrector's shoulder has to lie above the drawtube's end once the focuser stands at focus; null = not told. */
export function correctorShoulderMm(sheet: RigSheet): number | null {
  const stack = reachOf(sheet);
  if (!stack || sheet.fixed.corrector || sheet.correctorDistanceMm === null) return null;
  const { stackMm, glassShiftMm: shift } = reachFocus(stack);
  return stackMm - sheet.correctorDistanceMm - shift;
}

export function correctorPlace(sheet: RigSheet): Told {
  const what = {
    id: 'corrector',
    title: 'Where a corrector would sit',
    formula: 'spacers = working distance + t(1 − 1/n) − flange depth',
    source: 'Addition of lengths; what glass between corrector and sensor adds is a plane plate’s shift.',
  };
  if (sheet.fixed.corrector) return { ...what, missing: [], says: ['You said that no corrector fits.'] };
  return tell(what, sheet, ['correctorDistanceMm', 'flangeDepthMm'], (known) => {
    const glass =
      known.filterThicknessMm && known.filterIndex
        ? glassShiftMm(known.filterThicknessMm, known.filterIndex)
        : 0;
    const spacers = correctorSpacersMm(known.correctorDistanceMm, known.flangeDepthMm, glass);
    const says =
      spacers >= 0
        ? [`Between its shoulder and the camera’s flange belong ${told(spacers, 'mm')} of metal.`]
        : [`The camera is ${told(-spacers, 'mm')} too deep for it.`];
    const shoulder = correctorShoulderMm(known);
    if (shoulder !== null && spacers >= 0) {
      says.push(
        shoulder < 0
          ? `At focus its shoulder sits ${told(-shoulder, 'mm')} below the drawtube’s end: its front goes into the drawtube, which must be wide enough.`
          : `At focus its shoulder sits ${told(shoulder, 'mm')} above the drawtube’s end: there is room.`,
      );
      says.push('A corrector itself moves the focus; its maker says by how much and which way.');
    }
    return says;
  });
}
