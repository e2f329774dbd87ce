"""Small pictures of every kind that is read, written by other libraries, and the linear counts that they stand for.

Writes formats/* and values/formats.json. Pixels are whole-number formulas of row and column, so that they are the same everywhere.
"""
import io
import json
import pathlib

import cv2
import imageio.v3 as imageio
import numpy as np
import tifffile
from PIL import Image

HERE = pathlib.Path(__file__).parent
OUT = HERE / "formats"
W, H = 37, 29
y, x = np.mgrid[0:H, 0:W].astype(np.int64)


def rough(seed, full):
    """Looks like noise: a multiplicative hash of the place."""
    h = (x * 73856093 ^ y * 19349663 ^ seed * 83492791) & 0xFFFFFFFF
    h = (h * 2654435761) & 0xFFFFFFFF
    return ((h >> 11) % (full + 1)).astype(np.int64)


def smooth(seed, full):
    """What JPEG keeps well."""
    return full * (40 + 2 * x + (3 + seed) * y) // 255


g8, g16 = rough(1, 255).astype(np.uint8), rough(2, 65535).astype(np.uint16)
rgb8 = np.dstack([rough(s, 255) for s in (3, 4, 5)]).astype(np.uint8)
rgb16 = np.dstack([rough(s, 65535) for s in (6, 7, 8)]).astype(np.uint16)
alpha8, alpha16 = rough(9, 255).astype(np.uint8), rough(10, 65535).astype(np.uint16)
rgba8, rgba16 = np.dstack([rgb8, alpha8]), np.dstack([rgb16, alpha16])
f32 = (rough(11, 1 << 20) / (1 << 20)).astype(np.float32)
f64 = rough(12, 1 << 40) / float(1 << 40)
odd = f32.copy()
odd[0, :4] = [np.nan, np.inf, -np.inf, -0.5]
wide = (f32 * 5000).astype(np.float32)
wide[0, 0] = 5000.0
s8, srgb = smooth(0, 255).astype(np.uint8), np.dstack([smooth(s, 255) for s in (0, 1, 2)]).astype(np.uint8)

planes, files = {}, []


def luminance(rgb):
    return np.floor(rgb.astype(float) @ [0.2126, 0.7152, 0.0722] + 0.5).astype(np.int64)


def plane(name, counts):
    planes[name] = np.asarray(counts).astype(np.int64).ravel().tolist()
    return name


def put(file, data, of, within=0, channel="luminance", tone="linear", size=(W, H), full=1.0):
    if data is not None:
        (OUT / file).write_bytes(data)
    files.append(dict(file=file, plane=of, within=within, channel=channel, tone=tone, width=size[0], height=size[1], float_full_scale=full))


def colours(file, data, of):
    """Three planes exactly, and luminance within a count: its weights are rounded to 2^-16."""
    put(file, data, of + ".luminance", within=1)
    for name in ("red", "green", "blue"):
        put(file, None, f"{of}.{name}", channel=name)


def tiff(array, **kw):
    buffer = io.BytesIO()
    with tifffile.TiffWriter(buffer, bigtiff=kw.pop("bigtiff", False), byteorder=kw.pop("byteorder", "<")) as out:
        kw.setdefault("metadata", None)
        kw.setdefault("software", False)
        out.write(array, **kw)
    return buffer.getvalue()


def pillow(array, form, mode=None, **kw):
    buffer = io.BytesIO()
    image = Image.fromarray(array)
    (image.convert(mode) if mode else image).save(buffer, form, **kw)
    return buffer.getvalue()


def opencv(array, ending, *options):
    return cv2.imencode(ending, array, list(options))[1].tobytes()


def main():
    OUT.mkdir(exist_ok=True)
    for old in OUT.iterdir():
        old.unlink()
    plane("g8", g8.astype(int) * 257)
    plane("g16", g16)
    for name, rgb in (("rgb8", rgb8.astype(int) * 257), ("rgb16", rgb16.astype(int))):
        plane(name + ".luminance", luminance(rgb))
        for i, colour in enumerate(("red", "green", "blue")):
            plane(f"{name}.{colour}", rgb[..., i])
    count = lambda f: np.floor(np.clip(np.nan_to_num(f, nan=0, posinf=0, neginf=0), 0, 1).astype(float) * 65535 + 0.5)
    plane("f32", count(f32)), plane("f64", count(f64)), plane("odd", count(odd)), plane("wide", count(wide.astype(float) / 8192))

    # TIFF by tifffile: packing, strips and tiles, byte order, 64-bit offsets, planes apart.
    packings = [None, "lzw", "zlib", "adobe_deflate", "packbits"]
    for packing in packings:
        name = packing or "plain"
        put(f"g16-{name}-strips.tif", tiff(g16, compression=packing, rowsperstrip=7), "g16")
        put(f"g8-{name}-tiles.tif", tiff(g8, compression=packing, tile=(16, 32)), "g8")
        colours(f"rgb8-{name}.tif", tiff(rgb8, compression=packing, photometric="rgb", rowsperstrip=5), "rgb8")
    for packing in ("lzw", "zlib"):
        put(f"g16-{packing}-predictor.tif", tiff(g16, compression=packing, predictor=True), "g16")
        put(f"g16-{packing}-predictor-big.tif", tiff(g16, compression=packing, predictor=True, byteorder=">", tile=(16, 16)), "g16")
        put(f"g8-{packing}-predictor.tif", tiff(g8, compression=packing, predictor=True), "g8")
        colours(f"rgb16-{packing}-predictor-tiles.tif", tiff(rgb16, compression=packing, predictor=True, photometric="rgb", tile=(16, 16)), "rgb16")
    put("g16-big-endian.tif", tiff(g16, byteorder=">"), "g16")
    put("g16-bigtiff.tif", tiff(g16, bigtiff=True, rowsperstrip=4), "g16")
    put("g16-bigtiff-big-endian-tiles.tif", tiff(g16, bigtiff=True, byteorder=">", tile=(16, 16), compression="zlib"), "g16")
    put("g16-white-is-zero.tif", tiff(65535 - g16, photometric="miniswhite"), "g16")
    put("g8-white-is-zero.tif", tiff(255 - g8, photometric="miniswhite"), "g8")
    for name, rgb in (("rgb8", rgb8), ("rgb16", rgb16)):
        colours(f"{name}-planar.tif", tiff(np.moveaxis(rgb, 2, 0).copy(), photometric="rgb", planarconfig="separate", rowsperstrip=6), name)
        colours(f"{name}-planar-tiles-lzw.tif", tiff(np.moveaxis(rgb, 2, 0).copy(), photometric="rgb", planarconfig="separate", tile=(16, 16), compression="lzw"), name)
    colours("rgba8.tif", tiff(rgba8, photometric="rgb", extrasamples=["unassalpha"]), "rgb8")
    colours("rgba16-tiles.tif", tiff(rgba16, photometric="rgb", extrasamples=["unassalpha"], tile=(32, 16), compression="zlib"), "rgb16")
    put("ga16.tif", tiff(np.dstack([g16, alpha16]), photometric="minisblack", planarconfig="contig", extrasamples=["unassalpha"]), "g16")
    put("f32.tif", tiff(f32), "f32", tone="none")
    put("f32-big-endian.tif", tiff(f32, byteorder=">"), "f32", tone="none")
    put("f32-zlib-predictor.tif", tiff(f32, compression="zlib", predictor=True), "f32", tone="none")
    put("f32-lzw-predictor-tiles.tif", tiff(f32, compression="lzw", predictor=True, tile=(16, 16)), "f32", tone="none")
    put("f64-zlib-predictor.tif", tiff(f64, compression="zlib", predictor=True), "f64", tone="none")
    put("f64.tif", tiff(f64), "f64", tone="none")
    put("f32-not-numbers.tif", tiff(odd), "odd", tone="none")
    put("f32-wide.tif", tiff(wide), "wide", tone="none", full=8192.0)
    for bits in (10, 12, 14):
        most = (1 << bits) - 1
        values = (g16 >> (16 - bits)).astype(np.uint16)
        packed = np.zeros((H, (W * bits + 7) // 8), np.uint8)
        for row in range(H):
            text = "".join(format(int(v), f"0{bits}b") for v in values[row])
            text += "0" * (-len(text) % 8)
            packed[row] = [int(text[i : i + 8], 2) for i in range(0, len(text), 8)]
        plane(f"g{bits}", (values.astype(int) * 65535 + most // 2) // most)
        put(f"g{bits}-packed.tif", packed_tiff(packed.tobytes(), bits), f"g{bits}")
    # TIFF by pillow (libtiff) and opencv.
    put("pillow-g8-lzw.tif", pillow(g8, "TIFF", compression="tiff_lzw"), "g8")
    put("pillow-g16.tif", pillow(g16, "TIFF"), "g16")
    colours("pillow-rgb8-deflate.tif", pillow(rgb8, "TIFF", compression="tiff_adobe_deflate"), "rgb8")
    colours("opencv-rgb16-lzw.tif", opencv(rgb16[..., ::-1], ".tiff"), "rgb16")
    put("opencv-g16.tif", opencv(g16, ".tiff"), "g16")
    put("opencv-f32.tif", opencv(f32, ".tiff"), "f32", tone="none")
    indexed = Image.fromarray(rgb8).quantize(16)
    shown = np.asarray(indexed.convert("RGB")).astype(int) * 257
    plane("indexed.luminance", luminance(shown)), plane("indexed.red", shown[..., 0])
    for form, ending in (("TIFF", "tif"), ("PNG", "png"), ("BMP", "bmp")):
        buffer = io.BytesIO()
        indexed.save(buffer, form)
        put(f"pillow-indexed.{ending}", buffer.getvalue(), "indexed.luminance", within=1)
        put(f"pillow-indexed.{ending}", None, "indexed.red", channel="red")
    bilevel = (g8 > 127).astype(np.uint8) * 255
    plane("bilevel", bilevel.astype(int) * 257)
    put("pillow-bilevel.tif", pillow(bilevel, "TIFF", mode="1"), "bilevel")
    put("pillow-bilevel.png", pillow(bilevel, "PNG", mode="1"), "bilevel")
    put("pillow-bilevel.bmp", pillow(bilevel, "BMP", mode="1"), "bilevel")

    # PNG by pillow, opencv and imageio.
    put("pillow-g8.png", pillow(g8, "PNG"), "g8")
    put("pillow-g16.png", pillow(g16, "PNG"), "g16")
    put("opencv-g16.png", opencv(g16, ".png"), "g16")
    colours("pillow-rgb8.png", pillow(rgb8, "PNG"), "rgb8")
    colours("pillow-rgba8.png", pillow(rgba8, "PNG"), "rgb8")
    colours("opencv-rgb16.png", opencv(rgb16[..., ::-1], ".png"), "rgb16")
    colours("opencv-rgba16.png", opencv(np.dstack([rgb16[..., ::-1], alpha16]), ".png"), "rgb16")
    colours("imageio-rgb8.png", imageio.imwrite("<bytes>", rgb8, extension=".png"), "rgb8")

    # BMP.
    put("grey8.bmp", pillow(g8, "BMP"), "g8")
    colours("opencv-rgb8.bmp", opencv(rgb8[..., ::-1], ".bmp"), "rgb8")
    colours("pillow-rgba8.bmp", pillow(rgba8, "BMP"), "rgb8")

    # JPEG: the decoders' cosine transforms round differently, by a code or two of 255; colours are turned by other fixed-point tables.
    def jpeg(file, data):
        found = np.asarray(Image.open(io.BytesIO(data))).astype(int) * 257
        if found.ndim == 2:
            put(file, data, plane(file, found), within=2 * 257)
        else:
            put(file, data, plane(file, found[..., 1]), within=3 * 257, channel="green")

    jpeg("pillow-grey.jpg", pillow(s8, "JPEG", quality=92))
    jpeg("pillow-colour-420.jpg", pillow(srgb, "JPEG", quality=92, subsampling=2))
    jpeg("pillow-colour-444-progressive.jpg", pillow(srgb, "JPEG", quality=95, subsampling=0, progressive=True))
    jpeg("opencv-colour.jpg", opencv(srgb[..., ::-1], ".jpg", cv2.IMWRITE_JPEG_QUALITY, 90, cv2.IMWRITE_JPEG_RST_INTERVAL, 2))
    for name, array, kw in (
        ("jpeg-grey-strips.tif", s8, dict(rowsperstrip=16)),
        ("jpeg-grey-tiles.tif", s8, dict(tile=(16, 16))),
        ("jpeg-rgb.tif", srgb, dict(photometric="rgb", rowsperstrip=16)),
        ("jpeg-ycbcr-tiles.tif", srgb, dict(photometric="ycbcr", tile=(16, 16))),
    ):
        data = tiff(array, compression="jpeg", compressionargs=dict(level=92), **kw)
        found = tifffile.imread(io.BytesIO(data)).astype(int) * 257
        put(name, data, plane(name, found if found.ndim == 2 else found[..., 1]), within=3 * 257, channel="luminance" if found.ndim == 2 else "green")
    # By libtiff, which keeps the tables of all strips in one place.
    data = pillow(s8, "TIFF", compression="jpeg", quality=92)
    put("pillow-jpeg-grey.tif", data, plane("pillow-jpeg-grey", np.asarray(Image.open(io.BytesIO(data))).astype(int) * 257), within=2 * 257)
    data = pillow(srgb, "TIFF", compression="jpeg", quality=92)
    put("pillow-jpeg-colour.tif", data, plane("pillow-jpeg-colour", np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))[..., 1].astype(int) * 257), within=3 * 257, channel="green")

    # Turned as EXIF and TIFF ask; what it should look like is the upright picture.
    undo = {1: lambda a: a, 2: np.fliplr, 3: lambda a: np.rot90(a, 2), 4: np.flipud, 5: lambda a: a.T, 6: lambda a: np.rot90(a, 1), 7: lambda a: np.rot90(a, 2).T, 8: lambda a: np.rot90(a, -1)}
    for tag in range(2, 9):
        stored = np.ascontiguousarray(undo[tag](g8))
        put(f"turned-{tag}.tif", tiff(stored, extratags=[(274, 3, 1, tag, True)]), "g8")
        exif = Image.Exif()
        exif[274] = tag
        put(f"turned-{tag}.png", pillow(stored, "PNG", exif=exif), "g8")
    exif = Image.Exif()
    exif[274] = 6
    exif.get_ifd(34665)[33434] = 0.02
    exif.get_ifd(34665)[34855] = 200
    data = pillow(np.ascontiguousarray(undo[6](s8)), "JPEG", quality=92, exif=exif)
    upright = np.rot90(np.asarray(Image.open(io.BytesIO(data))), -1).astype(int) * 257
    put("turned-6-exposed.jpg", data, plane("turned-6-exposed.jpg", upright), within=2 * 257)

    # OME-TIFF by tifffile, and a stack with a preview.
    ome = io.BytesIO()
    with tifffile.TiffWriter(ome, ome=True) as out:
        meta = dict(axes="TYX", PhysicalSizeX=0.107, PhysicalSizeY=0.107, SignificantBits=12, Plane=dict(ExposureTime=[0.02, 0.04], ExposureTimeUnit=["s", "s"]))
        out.write(np.stack([g16 >> 4, (65535 - g16) >> 4]), metadata=meta, photometric="minisblack")
    plane("g12-in-16", g16 >> 4)
    put("two-pages.ome.tif", ome.getvalue(), "g12-in-16")
    stack = io.BytesIO()
    with tifffile.TiffWriter(stack) as out:
        out.write(g16, metadata=None, software=False)
        out.write(g16[::4, ::4].copy(), subfiletype=1, metadata=None, software=False)
        out.write(65535 - g16, metadata=None, software=False)
        out.write(g16[:10, :10].copy(), metadata=None, software=False)
    put("stack.tif", stack.getvalue(), "g16")

    for entry in files:
        assert entry["plane"] in planes, entry
    text = json.dumps(dict(made_with=f"tifffile {tifffile.__version__}, pillow {Image.__version__}, opencv {cv2.__version__}, imageio", files=files, planes=planes), separators=(",", ":"))
    (HERE / "values" / "formats.json").write_text(text.replace("},{", "},\n{") + "\n")
    print(len(files), "checks,", sum(f.stat().st_size for f in OUT.iterdir()) // 1024, "KiB")


def packed_tiff(packed, bits):
    """A TIFF of packed whole numbers, put together by hand (TIFF 6.0, section 2): one strip, grey."""
    entries = [(256, 4, W), (257, 4, H), (258, 3, bits), (259, 3, 1), (262, 3, 1), (273, 4, 8 + 2 + 9 * 12 + 4), (277, 3, 1), (278, 4, H), (279, 4, len(packed))]
    head = b"II*\0\x08\0\0\0" + len(entries).to_bytes(2, "little")
    for tag, kind, value in entries:
        head += tag.to_bytes(2, "little") + kind.to_bytes(2, "little") + (1).to_bytes(4, "little") + value.to_bytes(4, "little")
    return head + bytes(4) + packed


if __name__ == "__main__":
    main()
