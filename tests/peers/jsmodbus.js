// SPDX-License-Identifier: Apache-2.0
// jsmodbus, which nobody here wrote, driven by the tests beside it.
//
// jsmodbus.js client PORT       a JSON list [method, argument...] a line comes in, {"values": ...}
//                               or {"exception": code} goes out
// jsmodbus.js tcp|rtu CHANNELS  a server: tells its port, then every write as [address, value].
//                               Channel k shows 1000 k + n the n-th time that any is asked for.
//                               Frames of RTU come through the TCP port; the caller has the line.
'use strict';

const net = require('net');
const readline = require('readline');
const modbus = require('jsmodbus');

const tell = (what) => process.stdout.write(JSON.stringify(what) + '\n');

async function answer(client, [method, ...given]) {
  try {
    const { response } = await client[method](...given);
    return { values: response.body.valuesAsArray || [] };
  } catch (error) {
    if (error.err !== 'ModbusException') throw error;
    return { exception: error.response.body.code };
  }
}

function ask(port) {
  const socket = net.connect({ host: '127.0.0.1', port });
  const client = new modbus.client.TCP(socket, 1, 20000);
  socket.on('connect', async () => {
    for await (const line of readline.createInterface({ input: process.stdin }))
      tell(await answer(client, JSON.parse(line)));
    socket.end();
  });
}

function show(server, channels) {
  let asked = 0;
  server.on('preReadInputRegisters', () => {
    asked += 1;
    for (let k = 0; k < channels; ++k) server.input.writeUInt16BE(1000 * k + asked, 2 * k);
  });
  server.on('preWriteSingleRegister', ({ body }) => tell([body.address, body.value]));
}

function serve(kind, channels) {
  const listener = net.createServer();
  if (kind === 'tcp') show(new modbus.server.TCP(listener), channels);
  else listener.on('connection', (line) => show(new modbus.server.RTU(line), channels));
  listener.listen(0, '127.0.0.1', () => tell(listener.address().port));
}

const [what, number] = process.argv.slice(2);
if (what === 'client') ask(Number(number));
else serve(what, Number(number));
