// Makes the quick starts fit this server: commands name its address, and the example runs here.
'use strict';

for (const command of document.querySelectorAll('.command')) {
  command.textContent = command.textContent.replaceAll('localhost:8080', location.host);
}

const run = document.getElementById('run');
const prints = document.getElementById('prints');

run.hidden = false;
run.addEventListener('click', async () => {
  prints.textContent = '';
  prints.hidden = false;
  const {quickstart} = await import(run.dataset.module);
  try {
    await quickstart(location.origin, line => { prints.textContent += `${line}\n`; });
  } catch (fault) {
    prints.textContent += `${fault.message}\n`;
  }
});
