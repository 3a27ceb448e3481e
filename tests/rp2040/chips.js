// The chips around the RP2040, as far as their datasheets matter to the firmware: SHT4x and a serial EEPROM on the I2C
// bus, DS18B20 on wires of their own, W5500 on the SPI bus. Times are the emulated board's own, in nanoseconds.

/** The check of the SHT4x datasheet: polynomial 0x31, begun with 0xff. */
function crc8(bytes) {
  let crc = 0xff;
  for (const byte of bytes) {
    crc ^= byte;
    for (let bit = 0; bit < 8; bit++) crc = crc & 0x80 ? ((crc << 1) ^ 0x31) & 0xff : crc << 1;
  }
  return crc;
}

/** Temperature and humidity; it does not answer while it measures, and says one result once. */
export class Sht4x {
  static MEASURES_NS = 8.3e6;

  constructor(now) {
    this.now = now;
    this.celsius = 25;
    this.humidity = 50;
    this.absent = false;
    this.garbled = false;
    this.readyAt = 0;
    this.result = [];
  }

  connects() {
    return !this.absent && this.now() >= this.readyAt;
  }

  written(bytes) {
    if (bytes.length !== 1 || bytes[0] !== 0xfd) return;
    this.readyAt = this.now() + Sht4x.MEASURES_NS;
    const words = [
      Math.round(((this.celsius + 45) / 175) * 65535),
      Math.round(((this.humidity + 6) / 125) * 65535),
    ];
    this.result = words.flatMap((word) => {
      const pair = [word >> 8, word & 0xff];
      return [...pair, crc8(pair) ^ (this.garbled ? 1 : 0)];
    });
  }

  read() {
    return this.result.shift() ?? 0xff;
  }
}

/** The check of the DS18B20 datasheet: x^8 + x^5 + x^4 + 1, the lowest bit first. */
function crc8OneWire(bytes) {
  let crc = 0;
  for (const byte of bytes) {
    crc ^= byte;
    for (let bit = 0; bit < 8; bit++) crc = crc & 1 ? (crc >> 1) ^ 0x8c : crc >> 1;
  }
  return crc;
}

/** Temperature over one wire, alone on it: it answers in the slots that its datasheet draws, and is not there until it
 * has a temperature. */
export class Ds18b20 {
  static RESET_NS = 480e3;
  /** It looks at a slot so long after its begin, or holds its zero so long. */
  static LOOKS_NS = 30e3;
  static PRESENT_NS = [30e3, 150e3];
  static MEASURES_NS = 750e6;

  constructor(now) {
    this.now = now;
    this.celsius = null;
    this.scratchpad = [0x50, 0x05, 0x4b, 0x46, 0x7f, 0xff, 0x0c, 0x10];
    this.fell = 0;
    this.heard = [];
    this.says = [];
    this.result = null;
  }

  /** Joins it to a pin of a chip that has just started. */
  join(chip, pin, low) {
    this.alarms = [true, false].map((level) => chip.clock.createAlarm(() => chip.gpio[pin].setInputValue(level)));
    this.holds = (from, to) => {
      this.alarms[1].schedule(from);
      this.alarms[0].schedule(to);
    };
    chip.gpio[pin].setInputValue(true);
    let was = false;
    chip.gpio[pin].addListener((state) => {
      const is = state === low;
      if (is !== was && this.celsius !== null) this.edge(is);
      was = is;
    });
  }

  edge(fell) {
    if (fell) {
      this.fell = this.now();
      // A zero of its own goes on when the other end lets go.
      if (this.says.length > 0 && !this.says.shift()) this.holds(0, Ds18b20.LOOKS_NS);
      else if (this.says.length === 0) this.listens = true;
      return;
    }
    const low = this.now() - this.fell;
    if (low >= Ds18b20.RESET_NS) {
      [this.heard, this.says, this.listens] = [[], [], false];
      this.holds(...Ds18b20.PRESENT_NS);
    } else if (this.listens) {
      this.listens = false;
      this.heard.push(low < Ds18b20.LOOKS_NS);
      this.obey();
    }
  }

  obey() {
    if (this.heard.length !== 16) return;
    const byte = (from) => this.heard.slice(from, from + 8).reduce((sum, bit, i) => sum | (bit << i), 0);
    if (byte(0) !== 0xcc) return;
    if (byte(8) === 0x44) {
      this.result = [Math.round(this.celsius * 16) & 0xffff, this.now() + Ds18b20.MEASURES_NS];
    } else if (byte(8) === 0xbe) {
      if (this.result && this.now() >= this.result[1]) this.scratchpad.splice(0, 2, this.result[0] & 0xff, this.result[0] >> 8);
      const bytes = [...this.scratchpad, crc8OneWire(this.scratchpad)];
      this.says = bytes.flatMap((byte) => Array.from({ length: 8 }, (_, bit) => Boolean((byte >> bit) & 1)));
    }
  }
}

/** Serial EEPROM of 4 KiB: it wraps within its page, and does not answer while it writes. */
export class At24 {
  static PAGE = 32;
  static WRITES_NS = 5e6;

  constructor(now, cells, changed) {
    this.now = now;
    this.cells = cells;
    this.changed = changed;
    this.pointer = 0;
    this.readyAt = 0;
  }

  connects() {
    return this.now() >= this.readyAt;
  }

  written(bytes) {
    if (bytes.length < 2) return;
    this.pointer = ((bytes[0] << 8) | bytes[1]) % this.cells.length;
    const data = bytes.slice(2);
    if (data.length === 0) return;
    const page = this.pointer - (this.pointer % At24.PAGE);
    data.forEach((byte, i) => {
      this.cells[page + ((this.pointer - page + i) % At24.PAGE)] = byte;
    });
    this.readyAt = this.now() + At24.WRITES_NS;
    this.changed(this.cells);
  }

  read() {
    const byte = this.cells[this.pointer];
    this.pointer = (this.pointer + 1) % this.cells.length;
    return byte;
  }
}

/** The I2C block's interrupt that says that its buffer is empty. */
const TX_EMPTY = 1 << 4;

/** Joins devices to one of the board's I2C blocks, which waits for ever once something holds the bus low. */
export function joinI2c(block, devices, isHeld) {
  let device = null;
  let bytes = [];
  // What was written stands once the transfer turns round or ends.
  const settle = () => {
    if (device && bytes.length > 0) device.written(bytes);
    bytes = [];
  };
  block.onStart = () => {
    settle();
    if (isHeld()) return;
    block.completeStart();
  };
  block.onConnect = (address) => {
    const found = devices.get(address);
    device = found && found.connects() ? found : null;
    block.completeConnect(device !== null);
    // The chip's buffer is empty after an abort, and says so; the emulator forgets that.
    if (!device) block.setInterrupts(TX_EMPTY);
  };
  block.onWriteByte = (byte) => {
    bytes.push(byte);
    block.completeWrite(true);
  };
  block.onReadByte = () => block.completeRead(device ? device.read() : 0xff);
  block.onStop = () => {
    settle();
    device = null;
    block.completeStop();
  };
}

const BLOCK = { common: 0, socket: 1, tx: 2, rx: 3 };
const COMMON = { mode: 0x00, mac: 0x09, interrupts: 0x18, phy: 0x2e, version: 0x39 };
const SOCKET = { mode: 0x00, command: 0x01, interrupt: 0x02, free: 0x20, txRead: 0x22, txWrite: 0x24, received: 0x26, rxRead: 0x28, rxWrite: 0x2a, mask: 0x2c };
const COMMAND = { open: 0x01, send: 0x20, receive: 0x40 };
const SENT = 0x10;
const RECEIVED = 0x04;
const MACRAW = 4;
const FILTERED = 0x80;
const BUFFER = 0x4000;

/** Ethernet chip: socket 0 takes and gives whole frames. */
export class W5500 {
  /** `out` takes a frame; `interrupt` is told whether the line is pulled low. */
  constructor(out, interrupt) {
    this.out = out;
    this.interrupt = interrupt;
    this.linked = true;
    this.dropped = 0;
    this.reset();
    this.select();
  }

  reset() {
    this.common = new Uint8Array(0x40);
    this.socket = new Uint8Array(0x30);
    this.tx = new Uint8Array(BUFFER);
    this.rx = new Uint8Array(BUFFER);
    // What the chip itself knows of its buffers; registers only show it.
    this.taken = 0;
    this.given = 0;
    this.open = false;
    this.common[COMMON.version] = 4;
    this.update();
  }

  select() {
    this.head = [];
    this.address = 0;
  }

  word(register) {
    return (this.socket[register] << 8) | this.socket[register + 1];
  }

  setWord(register, value) {
    this.socket[register] = (value >> 8) & 0xff;
    this.socket[register + 1] = value & 0xff;
  }

  update() {
    this.common[COMMON.phy] = this.linked ? 0xbf : 0xb8;
    this.setWord(SOCKET.free, BUFFER);
    this.setWord(SOCKET.received, (this.given - this.taken) & 0xffff);
    this.setWord(SOCKET.rxWrite, this.given);
    const pulled = this.socket[SOCKET.interrupt] & this.socket[SOCKET.mask] && this.common[COMMON.interrupts] & 1;
    this.interrupt(Boolean(pulled));
  }

  /** One byte each way. */
  exchange(byte) {
    if (this.head.length < 3) {
      this.head.push(byte);
      if (this.head.length === 3) this.address = (this.head[0] << 8) | this.head[1];
      return 0;
    }
    const control = this.head[2];
    const [block, writes, at] = [control >> 3, (control & 4) !== 0, this.address];
    this.address = (this.address + 1) & 0xffff;
    if (writes) {
      this.write(block, at, byte);
      return 0;
    }
    return this.read(block, at);
  }

  read(block, at) {
    switch (block) {
      case BLOCK.common:
        return this.common[at] ?? 0;
      case BLOCK.socket:
        return this.socket[at] ?? 0;
      case BLOCK.tx:
        return this.tx[at % BUFFER];
      default:
        return this.rx[at % BUFFER];
    }
  }

  write(block, at, byte) {
    if (block === BLOCK.tx) {
      this.tx[at % BUFFER] = byte;
    } else if (block === BLOCK.common && at === COMMON.mode && byte & 0x80) {
      this.reset();
    } else if (block === BLOCK.common && at !== COMMON.version && at !== COMMON.phy) {
      this.common[at] = byte;
    } else if (block === BLOCK.socket && at === SOCKET.interrupt) {
      this.socket[SOCKET.interrupt] &= ~byte;
    } else if (block === BLOCK.socket && at === SOCKET.command) {
      this.command(byte);
    } else if (block === BLOCK.socket) {
      this.socket[at] = byte;
    }
    this.update();
  }

  command(command) {
    if (command === COMMAND.open) {
      this.open = (this.socket[SOCKET.mode] & 0xf) === MACRAW;
    } else if (command === COMMAND.send) {
      const [from, to] = [this.word(SOCKET.txRead), this.word(SOCKET.txWrite)];
      const frame = Uint8Array.from({ length: (to - from) & 0xffff }, (_, i) => this.tx[(from + i) % BUFFER]);
      this.setWord(SOCKET.txRead, to);
      this.socket[SOCKET.interrupt] |= SENT;
      if (this.open && this.linked) this.out(frame);
    } else if (command === COMMAND.receive) {
      this.taken = this.word(SOCKET.rxRead);
      // More waits: it says so again.
      if (this.taken !== this.given) this.socket[SOCKET.interrupt] |= RECEIVED;
    }
  }

  /** A frame comes in. */
  frame(bytes) {
    if (!this.open || !this.linked) return;
    const mine = bytes.slice(0, 6).every((byte, i) => byte === this.common[COMMON.mac + i]);
    if (this.socket[SOCKET.mode] & FILTERED && !mine && !(bytes[0] & 1)) return;
    if (((this.given - this.taken) & 0xffff) + bytes.length + 2 > BUFFER) {
      this.dropped++;
      return;
    }
    const length = bytes.length + 2;
    for (const byte of [length >> 8, length & 0xff, ...bytes]) {
      this.rx[this.given % BUFFER] = byte;
      this.given = (this.given + 1) & 0xffff;
    }
    this.socket[SOCKET.interrupt] |= RECEIVED;
    this.update();
  }
}
