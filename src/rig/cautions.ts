/** Short, in place. Local rules and the makers' instructions come first, everywhere; common practice, no source. */
export const FIRST = 'Local rules and the makers’ instructions come before anything said here.';

export const SUN = {
  title: 'The Sun',
  lines: [
    'Never point tube, finder or camera near the Sun without a filter made for it, fixed in front of the aperture.',
    'A UV/IR cut filter is not a solar filter. Neither is anything that screws into an eyepiece or a camera.',
    'Trying the setup by day: in the shade, aimed away from the Sun, tube and finder capped before sunrise and whenever nobody stands by.',
  ],
};

export const COLLIMATION = {
  title: 'Turning mirrors',
  lines: [
    'Keep the tube level while screws are turned, so that nothing dropped falls on the mirror.',
    'Never unscrew the screws of a mirror or a secondary fully: they hold it.',
    'A laser collimator: look at its spot on the wall of the tube, never into the beam or its reflection; switch it off when nobody looks.',
    'No laser pointers into the sky near aircraft; in many places not at all.',
  ],
};

export const LOADS = {
  title: 'Loads and clamps',
  lines: [
    'A tube on a clamp or mount that was not made for it: try by hand first, all the way round, with a safety cord on the tube.',
    'Does it tip with the camera on and the tube at its lowest? Spread the legs, hang weight under the mount.',
    'Stay beside it while it slews. Cables must reach every position of the tube, and nobody’s feet.',
  ],
};

export const POWER = {
  title: 'Power in the dew',
  lines: [
    'Mains plugs and supplies stay off the wet ground, under cover, behind a residual-current breaker; repairs are for licensed people.',
    'Lithium packs: dry, above freezing while charging, never bruised, never charged unattended.',
    'Warm glass slightly above the dew point rather than wiping it.',
  ],
};
