// Puts the app's module together again while it arrives, and has it compiled while the rest is on its way. It is
// sent with its code taken apart, alike beside alike, because that packs a tenth better. How, and what the streams
// are, stands in crates/xtask/src/apart.rs.
const ALIGNED = Array.from("23230011001122232301012", Number);

// One block: how many functions, how long they are together, and the lengths of its streams in `from`.
function together(from, functions, size, lengths) {
  const whole = new Uint8Array(size);
  const places = [0];
  for (const length of lengths) places.push(places.at(-1) + length);
  let end = 0;
  // Passes on a number as wasm writes it, and says what it is.
  const number = (stream) => {
    for (let value = 0, shift = 0; ; shift += 7) {
      const byte = (whole[end++] = from[places[stream]++]);
      value |= (byte & 127) << shift;
      if (!(byte > 127)) return value;
    }
  };
  const bytes = (count) => {
    whole.set(from.subarray(places[5], (places[5] += count)), end);
    end += count;
  };
  for (; functions--; ) {
    // The size of the function is written before it when it is known.
    let start = end;
    end += 5;
    for (let groups = 2 * number(8); groups--; ) number(8);
    // Of a file that is damaged too, the end is reached.
    for (let depth = 1; depth && end < size; ) {
      const operation = (whole[end++] = from[places[0]++]);
      if (operation > 0x27 && operation < 0x3f) {
        // How the address is aligned, as is usual for what is loaded or stored there.
        whole[end++] = ALIGNED[operation - 0x28];
        number(3);
      } else if (operation > 0x1f && operation < 0x23) number(1);
      else if (operation === 0x41) number(2);
      else if (operation === 0x10) number(4);
      else if (operation === 0x0b) depth--;
      else if (operation > 1 && operation < 5) {
        depth++;
        number(9);
      } else if (operation === 0x0c || operation === 0x0d) number(7);
      else if (operation === 0x0e) for (let more = number(7) + 1; more--; ) number(7);
      else if (operation === 0x44) bytes(8);
      else if (operation === 0x43) bytes(4);
      else if (operation === 0x42) number(6);
      else if ((operation > 0x22 && operation < 0x27) || [0x3f, 0x40, 0xd0].includes(operation)) number(9);
      else if (operation === 0x11) {
        number(9);
        number(9);
      } else if (operation === 0xfc) {
        const second = number(0);
        if (second > 7) number(9);
        if (second === 10) number(9);
      }
    }
    let length = end - start - 5;
    for (let place = 4; place >= 0; place--, length >>= 7) whole[start++] = place ? length | 128 : length;
  }
  return whole;
}

// Passes the module on, in the order in which it arrives.
async function arrive(reader, module) {
  const file = new Uint8Array(1 << 21);
  let [there, taken, done] = [0, 0];
  const more = async () => {
    const part = await reader.read();
    done = part.done;
    if (!done) file.set(part.value, there);
    there += part.value?.length ?? 0;
  };
  const next = async (count) => {
    taken += count;
    while (there < taken && !done) await more();
    if (there < taken) throw new Error("The app's module stops too early.");
    return file.slice(taken - count, taken);
  };
  const [head, ...blocks] = new Uint32Array((await next(100)).buffer);
  module.enqueue(await next(head));
  for (let block = 0; block < 24; block += 12) {
    const lengths = blocks.slice(block + 2, block + 12);
    const from = await next(lengths.reduce((sum, length) => sum + length));
    module.enqueue(together(from, blocks[block], blocks[block + 1], lengths));
  }
  while (!done) await more();
  module.enqueue(file.subarray(taken, there));
  module.close();
}

// What comes of imports and exports is made above, by the wasm-bindgen step.
export default async () => {
  const response = await fetch(new URL("app.wasm", import.meta.url));
  if (!response.ok) throw new Error(`The app's module: ${response.status}`);
  const start = (module) => arrive(response.body.getReader(), module);
  const headers = { "content-type": "application/wasm" };
  const whole = new Response(new ReadableStream({ start }), { headers });
  const { instance, module } = await WebAssembly.instantiateStreaming(whole, __wbg_get_imports());
  return __wbg_finalize_init(instance, module);
};
