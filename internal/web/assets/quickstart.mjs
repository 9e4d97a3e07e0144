// Three questions to statorbook from JavaScript, without any dependency. It runs in a page
// (import {quickstart} from '/assets/quickstart.mjs') and on its own: node quickstart.mjs http://localhost:8080

// ask sends one question and gives the answer, or throws the problem (RFC 9457) that came instead.
export async function ask(server, path, body) {
  const options = body && {method: 'POST', headers: {'Content-Type': 'application/json'}, body: JSON.stringify(body)};
  const response = await fetch(new URL(path, server), options);
  const answer = await response.json();
  if (response.ok) return answer;
  const places = (answer.errors ?? []).map(e => `${e.pointer ?? e.parameter ?? e.header}: ${e.detail}`);
  throw new Error([answer.title, answer.detail, ...places, `request ${answer.request_id}`].join('\n'));
}

// quickstart asks for a wire, for what may replace it, and for the winding of a measured core.
export async function quickstart(server, say = console.log) {
  const wire = await ask(server, '/v1/wires/swg-24');
  say(`SWG 24 is ${wire.conductor.diameter_mm} mm bare.`);

  const {items: [best]} = await ask(server, '/v1/wire-equivalents', {
    from: {system: 'swg', size: '24', conductor: 'copper', build: 'grade_2', strands: 1},
    to: {systems: ['metric'], max_strands: 2},
  });
  const [replacement] = best.wires;
  say(`${replacement.strands} x ${replacement.size} mm may replace it: ${best.area_error_pct.toFixed(1)} % more copper.`);

  const found = await ask(server, '/v1/matches', {
    measurements: {
      phases: 1, rotor_position: 'inside', slots: 24, gap_diameter_mm: 54.3, back_diameter_mm: 93.4,
      stack_length_mm: 27, tooth_width_mm: {value: 3.6, uncertainty: 0.1},
    },
    supply: {voltage_v: 230, frequency_hz: 50, phases: 1},
  });
  say(`Caution: ${found.cautions[0].text}`);
  const [first] = found.candidates;
  const record = await ask(server, `/v1/windings/${first.winding_id}`);
  say(`${record.slug} (${first.status}): probability ${first.probability.toFixed(2)}; none of the records: ${found.none.winding.toFixed(2)}.`);
  return found;
}

const server = globalThis.process?.argv?.[2];
if (server) await quickstart(server);
