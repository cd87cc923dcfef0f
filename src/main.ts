import { createPinia } from 'pinia';
import { createApp } from 'vue';
import App from './App.vue';
import { settings } from './keep/settings.ts';
import { offlineCopy } from './offline/offline-copy.ts';
import './style/tokens.css';
import './style/base.css';
import './style/charts.css';

// The page opens in the light that it was left in (index.html begins in red): one bright flash undoes a dark-adapted eye.
const [, newer] = await Promise.all([settings.read(), offlineCopy.takeNewer()]);
if (newer) location.reload();
else createApp(App).use(createPinia()).mount('#app');
