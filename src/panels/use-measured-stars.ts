import { computed } from 'vue';
import type { MeanStar } from '../../workers/protocol/api.ts';
import { centreStar, pictureSidePx } from '../charts/star-plate.ts';
import { NO_VALUE, shortLength } from '../format/quantity.ts';
import { useAnalysis } from '../stores/analysis.ts';
import { usePreferences } from '../stores/preferences.ts';
import { sizeOf } from '../story/comparison.ts';

/** The measured mean stars of the nine cells, how large they are drawn, and what is written under them. */
export function useMeasuredStars() {
  const analysis = useAnalysis();
  const preferences = usePreferences();
  const measured = computed(() => analysis.current!.measured);
  const size = computed(() => sizeOf(measured.value.report));
  const stars = computed(() => measured.value.meanStars);
  const lengthText = (px: number | null | undefined, decimals = 2) =>
    px && Number.isFinite(px) ? shortLength(px, preferences.unit, preferences.scale, decimals) : NO_VALUE;
  const caption = ({ col, row }: MeanStar) =>
    lengthText(
      measured.value.report.regions.find((r) => r.col === col && r.row === row)?.[size.value]?.value,
    );
  const sidePx = computed(() => pictureSidePx(stars.value, measured.value.report.regions));
  return {
    stars,
    size,
    lengthText,
    caption,
    sidePx,
    acrossText: computed(() => lengthText(sidePx.value, preferences.unit === 'px' ? 0 : 1)),
    /** The centre's star, for all but itself. */
    centreFor: (star: MeanStar) => {
      const centre = centreStar(stars.value);
      return centre === star ? undefined : centre;
    },
  };
}
