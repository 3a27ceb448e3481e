// An emulated RP2040 board that runs the very image that would be flashed.
//
//   node board.js IMAGE SETTINGS EEPROM FRAMES
//
// IMAGE is the ELF file; SETTINGS lies at the end of the flash; EEPROM is a file that outlives a power cut; FRAMES is a
// socket that takes and gives Ethernet frames, each after its length. On standard output, one line each: `log TEXT`,
// `pad 0|1 MS`, `watchdog MS`. On standard input, one JSON object a line: {"warm": [celsius, humidity]}, {"cool": …},
// {"garbled": true}, {"absent": true}, {"wires": [warm celsius, cool celsius]} (both DS18B20, and no SHT4x any more),
// {"linked": false}, {"held": true} (the bus, low), {"hang": "program"} or "all" (its interrupts as well),
// {"hurry": ms} (that much of its time as fast as it can), {"flashed": true}: the boot ROM starts it as after flashing,
// by the watchdog. It ends with its standard input.
import { readFileSync, writeFileSync } from 'node:fs';
import { createConnection } from 'node:net';
import { createInterface } from 'node:readline';
import { ConsoleLogger, GPIOPinState, LogLevel, RP2040 } from 'rp2040js';
import { At24, Ds18b20, Sht4x, W5500, joinI2c } from './chips.js';

const FLASH = 0x10000000;
const VECTORS = FLASH + 0x100;
const SETTINGS_AT = 0x1ff000;
const PIN = { wires: [2, 3], pad: 15, select: 17, interrupt: 21 };
const WATCHDOG = 0x40058;
/** Says how the chip was last reset; bit 8: it was switched on, or its supply was low. */
const RESET = 0x40064;
const CHIP_RESET = 0x08;
const HAD_POR = 1 << 8;
/** Branches to itself. */
const SPIN = 0xe7fe;
/** How long the emulator runs before it looks for what came from outside, ms. */
const SLICE_MS = 10;

const [image, settings, eeprom, frames] = process.argv.slice(2);
const say = (text) => process.stdout.write(`${text}\n`);

/** Lays the parts of an ELF file that are loaded where they lie in flash. */
function flash(chip, path) {
  const elf = readFileSync(path);
  const [table, size, many] = [elf.readUInt32LE(28), elf.readUInt16LE(42), elf.readUInt16LE(44)];
  for (let i = 0; i < many; i++) {
    const head = elf.subarray(table + i * size);
    const [kind, from, , to, bytes] = [0, 4, 8, 12, 16].map((at) => head.readUInt32LE(at));
    if (kind === 1 && bytes > 0) chip.flash.set(elf.subarray(from, from + bytes), to - FLASH);
  }
}

/** The board: chips that keep their state over a reset of the RP2040. */
class Board {
  constructor() {
    // The emulator's clock begins anew with each start; what is outside of it goes on.
    this.before = 0;
    const now = () => this.now();
    this.warm = new Sht4x(now);
    this.cool = new Sht4x(now);
    this.wires = PIN.wires.map(() => new Ds18b20(now));
    this.memory = new At24(now, new Uint8Array(readFileSync(eeprom)), (cells) => writeFileSync(eeprom, cells));
    const devices = new Map([[0x44, this.warm], [0x45, this.cool], [0x50, this.memory]]);
    this.devices = devices;
    this.ethernet = new W5500(
      (frame) => {
        const head = Buffer.alloc(4);
        head.writeUInt32BE(frame.length);
        this.wire.write(Buffer.concat([head, frame]));
      },
      (pulled) => this.chip?.gpio[PIN.interrupt].setInputValue(!pulled),
    );
    this.start(0, []);
  }

  now() {
    return this.before + (this.chip?.clock.nanos ?? 0);
  }

  ms() {
    return Math.round(this.chip.clock.nanos / 1e6);
  }

  start(reason, scratch) {
    this.before = this.now();
    const chip = new RP2040();
    chip.logger = new ConsoleLogger(LogLevel.Error, false);
    flash(chip, image);
    chip.flash.set(readFileSync(settings), SETTINGS_AT);
    const watchdog = chip.peripherals[WATCHDOG];
    watchdog.reason = reason;
    watchdog.scratchData.set(scratch);
    chip.peripherals[RESET].readUint32 = (offset) => (offset === CHIP_RESET ? HAD_POR : 0);
    watchdog.onWatchdogTrigger = () => {
      this.bitten = true;
      // The emulator would have it bite again at the very same moment, for ever.
      watchdog.timer.enable = false;
    };
    joinI2c(chip.i2c[1], this.devices, () => this.held);
    this.wires.forEach((wire, i) => wire.join(chip, PIN.wires[i], GPIOPinState.Low));
    const spi = chip.spi[0];
    let answer = 0;
    // A byte takes its time: an answer at once would overrun the buffer that the firmware empties by DMA.
    const done = chip.clock.createAlarm(() => spi.completeTransmit(answer));
    spi.onTransmit = (byte) => {
      answer = this.ethernet.exchange(byte);
      done.schedule(8e9 / spi.clockFrequency);
    };
    chip.gpio[PIN.select].addListener((state) => {
      if (state === GPIOPinState.High) this.ethernet.select();
    });
    let closed = false;
    chip.gpio[PIN.pad].addListener((state) => {
      const closes = state === GPIOPinState.High;
      if (closes !== closed) say(`pad ${closes ? 1 : 0} ${this.ms()}`);
      closed = closes;
    });
    let line = '';
    chip.uart[0].onByte = (byte) => {
      const character = String.fromCharCode(byte);
      if (character === '\n') {
        say(`log ${line}`);
        line = '';
      } else {
        line += character;
      }
    };
    // No boot ROM: its second stage would only set up the flash, which is there.
    chip.core.VTOR = VECTORS;
    chip.core.SP = chip.readUint32(VECTORS);
    chip.core.PC = chip.readUint32(VECTORS + 4) & ~1;
    this.chip = chip;
    this.circle = null;
    this.ethernet.update();
  }

  /** A watchdog's restart: the pins float, and the resistor opens the switch. */
  restart(scratch) {
    say(`pad 0 ${this.ms()}`);
    this.start(1, scratch);
  }

  /** Lets the program go in a circle where it stands, as a fault of it would; the next start is sound again. */
  hang() {
    const { core, flash16 } = this.chip;
    if (core.PC < FLASH || core.PC >= FLASH + 2 * flash16.length) return;
    flash16[(core.PC - FLASH) >> 1] = SPIN;
    core.PM = this.hangs === 'all';
    core.waiting = false;
    this.hangs = null;
    this.circle = core.PC;
    say(`log hanging at ${this.ms()}`);
  }

  /** Runs until its time is as late as `until`, or `SLICE_MS` are over. */
  run(until) {
    const stop = performance.now() + SLICE_MS;
    const { core, clock } = this.chip;
    const cycle = 1e9 / 125e6;
    for (let i = 0; this.now() < until; i++) {
      // What goes in a circle waits as well, as far as the world is concerned: until the next interrupt.
      const circles = core.PC === this.circle && core.IPSR === 0;
      if (core.waiting || circles) {
        const next = clock.nanosToNextAlarm;
        if (next <= 0 || this.now() + next > until) {
          clock.tick(Math.max(until - this.now(), cycle));
        } else {
          clock.tick(next);
        }
      }
      // The timer's interrupt wakes a chip that sleeps; the emulator forgets that.
      if (core.pendingSystick) core.waiting = false;
      if (!core.waiting) {
        clock.tick(core.executeInstruction() * cycle);
      }
      if (this.hangs && core.IPSR === 0 && !core.PM) this.hang();
      if (this.bitten) {
        this.bitten = false;
        say(`watchdog ${this.ms()}`);
        this.restart(this.chip.peripherals[WATCHDOG].scratchData);
        return;
      }
      if (i % 1000 === 0 && performance.now() > stop) return;
    }
  }
}

const board = new Board();
board.wire = createConnection(frames);
board.wire.on('error', (error) => {
  say(`log the wire: ${error.message}`);
  process.exit(1);
});
let came = Buffer.alloc(0);
board.wire.on('data', (bytes) => {
  came = Buffer.concat([came, bytes]);
  while (came.length >= 4 && came.length >= 4 + came.readUInt32BE(0)) {
    const length = came.readUInt32BE(0);
    board.ethernet.frame([...came.subarray(4, 4 + length)]);
    came = came.subarray(4 + length);
  }
});

const told = createInterface({ input: process.stdin });
told.on('line', (line) => {
  const what = JSON.parse(line);
  for (const place of ['warm', 'cool']) {
    if (what[place]) [board[place].celsius, board[place].humidity] = what[place];
  }
  if ('garbled' in what) board.warm.garbled = what.garbled;
  if ('absent' in what) board.warm.absent = what.absent;
  if ('wires' in what) {
    board.warm.absent = board.cool.absent = true;
    what.wires.forEach((celsius, i) => (board.wires[i].celsius = celsius));
  }
  if ('linked' in what) {
    board.ethernet.linked = what.linked;
    board.ethernet.update();
  }
  if ('hurry' in what) {
    hurries = board.now() + what.hurry * 1e6;
    began -= what.hurry;
  }
  if ('held' in what) board.held = what.held;
  if ('hang' in what) board.hangs = what.hang;
  if ('flashed' in what) board.restart([]);
});
told.on('close', () => process.exit(0));

// Never ahead of the wall: outside, time is real. Behind it, it makes no attempt to catch up by more than a second.
let began = performance.now();
let hurries = 0;
function turn() {
  const wall = (performance.now() - began) * 1e6;
  if (board.now() >= hurries && wall - board.now() > 1e9) began += (wall - board.now()) / 1e6 - 1000;
  board.run((performance.now() - began) * 1e6);
  setTimeout(turn, 1);
}
turn();
