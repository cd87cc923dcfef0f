/** Something to hold a sensor against: an ellipse on the sky. Sizes in arc minutes. */
export interface SkyObject {
  name: string;
  majorArcmin: number;
  minorArcmin: number;
  source: string;
}

const RC3 = 'isophotal size of RC3 (de Vaucouleurs et al. 1991)';
const LIST = 'size as in common observing lists, from memory';

/** Largest first. Galaxies by their isophote of 25 mag per square arc second; the rest as the eye of a plate sees it. */
export const SKY_OBJECTS: SkyObject[] = [
  { name: 'M31, Andromeda galaxy', majorArcmin: 190, minorArcmin: 62, source: RC3 },
  { name: 'NGC 7000, North America', majorArcmin: 120, minorArcmin: 100, source: LIST },
  { name: 'M45, Pleiades', majorArcmin: 110, minorArcmin: 110, source: LIST },
  { name: 'M42, Orion nebula', majorArcmin: 85, minorArcmin: 60, source: LIST },
  { name: 'M33, Triangulum galaxy', majorArcmin: 70.8, minorArcmin: 41.7, source: RC3 },
  { name: 'The Moon', majorArcmin: 31, minorArcmin: 31, source: 'mean apparent diameter' },
  { name: 'M101', majorArcmin: 28.8, minorArcmin: 26.9, source: RC3 },
  { name: 'M81', majorArcmin: 26.9, minorArcmin: 14.1, source: RC3 },
  { name: 'M13, cluster in Hercules', majorArcmin: 20, minorArcmin: 20, source: LIST },
  { name: 'M51, Whirlpool', majorArcmin: 11.2, minorArcmin: 6.9, source: RC3 },
  { name: 'M82', majorArcmin: 11.2, minorArcmin: 4.3, source: RC3 },
  { name: 'M27, Dumbbell', majorArcmin: 8, minorArcmin: 5.6, source: LIST },
  { name: 'M57, Ring', majorArcmin: 1.4, minorArcmin: 1, source: LIST },
];
