// SPDX-License-Identifier: Apache-2.0
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { fullWidth_W, riverLayout, type RiverFlow, type RiverStage } from '../src/draw/river_layout';

const flow = (from: string, to: string, measured_W: number | null, predicted_W: number | null = null): RiverFlow => ({ from, to, measured_W, predicted_W });
const stage = (name: string, lost_W: number | null = null): RiverStage => ({ name, lost_W });
const bed = { along: 1000, px_per_W: 0.5, lane_gap: 40, drop: 26, upright: false };

const plainStages = [stage('wind'), stage('rotor', 190), stage('generator', 14), stage('dc_load')];
const plainFlows = [flow('wind', 'rotor', 290), flow('rotor', 'generator', 100, 104), flow('generator', 'dc_load', 86)];

const shedStages = [stage('wind'), stage('dc_bus', 5), stage('battery'), stage('dump_load'), stage('inverter', 6), stage('ac_loads')];
const shedFlows = [
  flow('wind', 'dc_bus', 80), flow('dc_bus', 'battery', 20), flow('dc_bus', 'dump_load', 10),
  flow('dc_bus', 'inverter', 45), flow('inverter', 'ac_loads', 39),
];

test('A reach is as thick as its watts', () => {
  const { reaches } = riverLayout(plainStages, plainFlows, bed);
  assert.deepEqual(reaches.map((reach) => reach.thickness), [145, 50, 43]);
});

test('What flows into a stage is what flows out, falls off and is stored', () => {
  const { reaches, falls, marks } = riverLayout(plainStages, plainFlows, bed);
  for (const mark of marks.slice(1, -1)) {
    const out = reaches.filter((reach) => reach.flow.from === mark.stage).reduce((sum, reach) => sum + reach.thickness, 0);
    const fallen = falls.filter((fall) => fall.stage === mark.stage).reduce((sum, fall) => sum + fall.lost_W * bed.px_per_W, 0);
    assert.equal(out + fallen, mark.thickness);
  }
});

test('Theory is drawn where its watts would reach', () => {
  const { reaches } = riverLayout(plainStages, plainFlows, bed);
  assert.match(reaches[1]?.predicted ?? '', / 52\.0 L/);
  assert.equal(reaches[0]?.predicted, '');
});

test('A power that nobody measures has a bed and no water', () => {
  const { reaches } = riverLayout(plainStages, [flow('wind', 'rotor', null)], bed);
  assert.equal(reaches[0]?.path, '');
  assert.notEqual(reaches[0]?.bed, '');
});

test('The longest way to a load keeps the bank, and branches do not touch each other', () => {
  const { reaches, marks } = riverLayout(shedStages, shedFlows, bed);
  const lane = (name: string) => marks.find((mark) => mark.stage === name)?.lane;
  assert.equal(lane('ac_loads'), 0);
  assert.notEqual(lane('battery'), lane('dump_load'));
  const ends = reaches.filter((reach) => reach.flow.from === 'dc_bus').map((reach) => [reach.end.y - reach.thickness / 2, reach.end.y + reach.thickness / 2] as const);
  ends.sort((a, b) => a[0] - b[0]);
  for (let k = 1; k < ends.length; ++k) assert.ok((ends[k]?.[0] ?? 0) >= (ends[k - 1]?.[1] ?? 0) + bed.lane_gap);
});

test('A battery that gives is drawn as thick as one that takes', () => {
  const giving = shedFlows.map((each) => (each.to === 'battery' ? flow('dc_bus', 'battery', -20) : each));
  const thick = (flows: readonly RiverFlow[]) => riverLayout(shedStages, flows, bed).reaches.find((reach) => reach.flow.to === 'battery')?.thickness;
  assert.equal(thick(giving), thick(shedFlows));
});

test('Upright and lying rivers are mirror images', () => {
  const lying = riverLayout(plainStages, plainFlows, bed);
  const upright = riverLayout(plainStages, plainFlows, { ...bed, upright: true });
  assert.deepEqual(upright.marks.map((mark) => [mark.spot.y, mark.spot.x]), lying.marks.map((mark) => [mark.spot.x, mark.spot.y]));
});

test('A ring of stages ends', () => {
  const { reaches } = riverLayout([stage('a'), stage('b'), stage('c'), stage('d')], [flow('a', 'b', 1), flow('b', 'c', 1), flow('c', 'b', 1), flow('b', 'd', 1)], bed);
  assert.equal(reaches.length, 4);
});

test('The scale does not jump to and fro where the wind wavers', () => {
  const up = fullWidth_W(310, 300);
  assert.equal(up, 400);
  assert.equal(fullWidth_W(295, up), 400);
  assert.equal(fullWidth_W(150, up) < 400, true);
});
