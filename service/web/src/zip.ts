// ZIP archives whose entries are stored as they are: what a phone can write without holding the
// photos in memory, and what any computer opens. Layout: PKWARE APPNOTE.TXT 6.3.10, sections 4.3.7,
// 4.3.12 and 4.3.16, within the bounds of ISO/IEC 21320-1.

export interface Entry {
  name: string;
  data: Blob;
  crc: number;
}

const UTF8_NAMES = 0x0800;
const VERSION = 20;
/** 1980-01-01, the least date the format can say; the true time stands inside the file. */
const NO_DATE = 0x0021;
const LOCAL = 0x04034b50;
const CENTRAL = 0x02014b50;
const END = 0x06054b50;

const CRC_TABLE = Uint32Array.from({ length: 256 }, (_, byte) => {
  let value = byte;
  for (let bit = 0; bit < 8; bit += 1) {
    value = value & 1 ? (value >>> 1) ^ 0xedb88320 : value >>> 1;
  }
  return value;
});

/** CRC-32 as in ITU-T V.42. */
export function crc32(bytes: Uint8Array): number {
  let crc = 0xffffffff;
  for (const byte of bytes) crc = (CRC_TABLE[(crc ^ byte) & 0xff] ?? 0) ^ (crc >>> 8);
  return (crc ^ 0xffffffff) >>> 0;
}

/** An entry made of text. */
export function textEntry(name: string, text: string): Entry {
  const bytes = new TextEncoder().encode(text);
  return { name, data: new Blob([bytes]), crc: crc32(bytes) };
}

/** The archive. The entries' blobs are referred to, not copied. */
export function zipOf(entries: readonly Entry[]): Blob {
  const parts: BlobPart[] = [];
  const directory: BlobPart[] = [];
  let offset = 0;
  let directorySize = 0;
  for (const { name, data, crc } of entries) {
    const named = new TextEncoder().encode(name);
    // Both headers of an entry share these fields, in this order.
    const shared = (at: number, view: DataView) => {
      view.setUint16(at, VERSION, true);
      view.setUint16(at + 2, UTF8_NAMES, true);
      view.setUint16(at + 8, NO_DATE, true);
      view.setUint32(at + 10, crc, true);
      view.setUint32(at + 14, data.size, true);
      view.setUint32(at + 18, data.size, true);
      view.setUint16(at + 22, named.length, true);
    };
    const local = new DataView(new ArrayBuffer(30));
    local.setUint32(0, LOCAL, true);
    shared(4, local);
    parts.push(local.buffer, named, data);

    const central = new DataView(new ArrayBuffer(46));
    central.setUint32(0, CENTRAL, true);
    central.setUint16(4, VERSION, true);
    shared(6, central);
    central.setUint32(42, offset, true);
    directory.push(central.buffer, named);

    offset += 30 + named.length + data.size;
    directorySize += 46 + named.length;
  }
  const end = new DataView(new ArrayBuffer(22));
  end.setUint32(0, END, true);
  end.setUint16(8, entries.length, true);
  end.setUint16(10, entries.length, true);
  end.setUint32(12, directorySize, true);
  end.setUint32(16, offset, true);
  return new Blob([...parts, ...directory, end.buffer], { type: "application/zip" });
}
