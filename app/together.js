// Puts the app's module together again. It is sent with its code taken apart, alike beside alike, because that
// packs a tenth better. How, and what the streams are, stands in crates/xtask/src/apart.rs.
function together(from) {
  const places = [0];
  const aligned = Array.from("23230011001122232301012", Number);
  let whole = [];
  let end = 0;
  // Passes on a number as wasm writes it, and says what it is.
  const number = (stream) => {
    for (let value = 0, shift = 0; ; shift += 7) {
      const byte = (whole[end++] = from[places[stream]++]);
      value |= (byte & 127) << shift;
      if (!(byte > 127)) return value;
    }
  };
  const bytes = (stream, count) => {
    whole.set(from.subarray(places[stream], (places[stream] += count)), end);
    end += count;
  };
  // What is written, behind its size.
  const sized = (write) => {
    const start = end;
    end += 5;
    write();
    for (let place = 0, size = end - start - 5; place < 5; size >>= 7) {
      whole[start + place++] = place < 5 ? size | 128 : size;
    }
  };
  const body = () => {
    for (let groups = 2 * number(9); groups--; ) number(9);
    // Of a file that is damaged too, the end is reached.
    for (let depth = 1; depth && end < whole.length; ) {
      const operation = (whole[end++] = from[places[1]++]);
      if (operation > 0x27 && operation < 0x3f) {
        // How the address is aligned, as is usual for what is loaded or stored there.
        whole[end++] = aligned[operation - 0x28];
        number(4);
      } else if (operation > 0x1f && operation < 0x23) number(2);
      else if (operation === 0x41) number(3);
      else if (operation === 0x10) number(5);
      else if (operation === 0x0b) depth--;
      else if (operation > 1 && operation < 5) {
        depth++;
        number(10);
      } else if (operation === 0x0c || operation === 0x0d) number(8);
      else if (operation === 0x0e) for (let more = number(8) + 1; more--; ) number(8);
      else if (operation === 0x44) bytes(6, 8);
      else if (operation === 0x43) bytes(6, 4);
      else if (operation === 0x42) number(7);
      else if ((operation > 0x22 && operation < 0x27) || [0x3f, 0x40, 0xd0].includes(operation)) number(10);
      else if (operation === 0x11) {
        number(10);
        number(10);
      } else if (operation === 0xfc) {
        const second = number(1);
        if (second > 7) number(10);
        if (second === 10) number(10);
      }
    }
  };
  const size = number(0);
  const head = number(0);
  const lengths = Array.from({ length: 10 }, () => number(0));
  for (const length of lengths) places.push(places.at(-1) + length);
  const tail = places[1];
  whole = new Uint8Array(size);
  end = 0;
  bytes(0, head);
  sized(() => {
    for (let functions = number(0); functions--; ) sized(body);
  });
  bytes(0, tail - places[0]);
  return whole;
}

// What comes of imports and exports is made above, by the wasm-bindgen step.
export default async () => {
  const response = await fetch(new URL("app.wasm", import.meta.url));
  if (!response.ok) throw new Error(`The app's module: ${response.status}`);
  const bytes = together(new Uint8Array(await response.arrayBuffer()));
  const { instance, module } = await WebAssembly.instantiate(bytes, __wbg_get_imports());
  return __wbg_finalize_init(instance, module);
};
