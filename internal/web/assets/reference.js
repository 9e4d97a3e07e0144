// Shows this server's own contract with the embedded renderer, ready to be tried. What the renderer
// leaves out is added: names of form controls, and boxes that scroll within reach of the keyboard.
'use strict';

const place = document.getElementById('reference');

// startEmpty moves the example of every optional parameter into its description. Filled in together,
// filters that make sense one by one find nothing.
function startEmpty(contract) {
  const operations = Object.values(contract.paths).flatMap(path => Object.values(path));
  const given = [...operations.flatMap(o => o.parameters ?? []), ...Object.values(contract.components.parameters)];
  for (const parameter of given) {
    if (parameter.required || parameter.example === undefined) continue;
    parameter.description += ` Example: \`${parameter.example}\`.`;
    delete parameter.example;
  }
  return contract;
}

// nameOf says what a control is for: its parameter, the format of the answer, or the body.
function nameOf(control) {
  const row = control.closest('[data-param-name]');
  if (row) return row.dataset.paramName;
  if (control.closest('.responses-wrapper')) return 'format of the answer';
  return control.tagName === 'SELECT' ? 'format of the body' : 'body of the request';
}

function complete() {
  for (const control of place.querySelectorAll('select, textarea, input')) {
    if (!control.ariaLabel && !control.labels?.length) control.ariaLabel = nameOf(control);
  }
  for (const box of place.querySelectorAll('pre')) box.tabIndex = 0;
}

async function show() {
  const answer = await fetch(place.dataset.contract);
  new MutationObserver(complete).observe(place, {childList: true, subtree: true});
  SwaggerUIBundle({
    domNode: place,
    spec: startEmpty(await answer.json()),
    validatorUrl: null,
    docExpansion: 'list',
    defaultModelsExpandDepth: 0,
    tryItOutEnabled: true,
    syntaxHighlight: false,
    plugins: [() => ({wrapComponents: {ServersContainer: () => () => null}})],
  });
}

show().catch(fault => { place.textContent = `The reference cannot be shown: ${fault.message}`; });
