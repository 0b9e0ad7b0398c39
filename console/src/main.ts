// SPDX-License-Identifier: Apache-2.0
import './look/tokens.css';
import './look/base.css';
import { mount } from 'svelte';
import App from './App.svelte';
import { looks } from './state/look.svelte';
import { desk } from './state/console.svelte';

looks.show(document.documentElement);
const target = document.getElementById('console');
if (target === null) throw new Error('index.html has no #console');
mount(App, { target });
void desk.begin();
