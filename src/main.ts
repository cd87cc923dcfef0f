import { createPinia } from 'pinia';
import { createApp } from 'vue';
import App from './App.vue';
import './style/tokens.css';
import './style/base.css';
import './style/charts.css';

createApp(App).use(createPinia()).mount('#app');
