import { defineStore } from 'pinia';
import { ref } from 'vue';

/** Which closer look at the frame is open. */
export const useCloser = defineStore('closer', () => ({ tab: ref('frame') }));
