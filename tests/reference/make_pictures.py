#!/usr/bin/env python3
"""Makes the lots coins/ and blobs/ (pictures that are not rendered films) and values/pictures.json with what is in them.

    make_pictures.py [DETECT_BLOB.png]

coins: skimage.data.coins(), which comes in the scikit-image wheel. blobs: detect_blob.png of OpenCV's samples (in Debian: opencv-doc,
/usr/share/doc/opencv-doc/examples/data/); without its path the lot and its values stay as they are. Licences: README.md.
Both are turned over (255 - value) so that things are dark on bright, as powder is.
"""
import json, sys
from pathlib import Path
import numpy as np
import scipy.ndimage as ndi
import skimage
from PIL import Image
from skimage import data, filters, measure, segmentation

HERE = Path(__file__).parent


def regions(lab):
    """Regions with their holes, larger first: area, area with holes filled, centre (pixel i spans i to i + 1), box, holes."""
    out = []
    for p in measure.regionprops(lab):
        y0, x0, y1, x1 = p.bbox
        out.append(dict(area_px=int(p.area), filled_area_px=int(p.area_filled), x_px=round(float(p.centroid[1]) + 0.5, 3), y_px=round(float(p.centroid[0]) + 0.5, 3), box=[x0, y0, x1, y1],
                        holes=int(measure.label(p.image_filled & ~p.image, connectivity=1).max())))
    return sorted(out, key=lambda r: -r["area_px"])


def sheet(folder, lot, product, um):
    folder.mkdir(exist_ok=True)
    (folder / "batch.toml").write_text(f'lot = "{lot}"\nproduct = "{product}"\npurpose = "study"\n\n[microscope]\nmode = "transmitted"\num_per_px = {um}          # nominal: the picture has no scale\ntone = "linear"\n', encoding="utf-8")


def coins():
    im = data.coins()
    assert im.shape == (303, 384) and im.dtype == np.uint8
    # the recipe of scikit-image's tutorial on coins: edges by Sobel, markers below 30 and above 150, watershed, holes filled
    markers = np.zeros_like(im, dtype=int)
    markers[im < 30], markers[im > 150] = 1, 2
    filled = ndi.binary_fill_holes(segmentation.watershed(filters.sobel(im), markers) - 1)
    lab = measure.label(filled, connectivity=1)
    r = [q for q in regions(lab) if q["area_px"] > 30]
    assert len(r) == 24
    sheet(HERE / "coins", "coins", "Photograph of 24 coins, turned over", 1.0)
    Image.fromarray(255 - im).save(HERE / "coins" / "coins.png", optimize=True)
    return dict(name="coins", file="coins/coins.png", made="255 - skimage.data.coins()", width=384, height=303, objects=24, total_area_px=sum(q["area_px"] for q in r), areas_sorted_px=sorted(q["area_px"] for q in r), regions=r,
                source="24: counted by eye (4 rows of 6) and real.coins; areas: scikit-image, Sobel edges, watershed from markers < 30 and > 150, holes filled, pieces of at most 30 px left out (recipe of its tutorial)",
                tolerance=dict(objects=0, areas="2 % for the same recipe (real.coins); another rule of where a coin ends gives other areas, see by_rule"),
                by_rule=by_rule(im, lab))


def by_rule(im, lab):
    """Total area by other rules, so that a bound for areas can be chosen knowingly."""
    out = {}
    around = ndi.binary_dilation(lab > 0, iterations=4)
    # each coin at half way between the median inside and the median of a ring around it, holes filled
    total = 0
    for p in measure.regionprops(lab):
        if p.area <= 30:
            continue
        y0, x0, y1, x1 = p.bbox
        s = (slice(max(0, y0 - 8), y1 + 8), slice(max(0, x0 - 8), x1 + 8))
        own = lab[s] == p.label
        ring = ndi.binary_dilation(own, iterations=7) & ~around[s]
        level = (np.median(im[s][own]) + np.median(im[s][ring])) / 2
        part = measure.label(ndi.binary_fill_holes((im[s] > level) & ndi.binary_dilation(own, iterations=4)), connectivity=1)
        total += int(np.bincount(part.ravel())[1:].max())
    out["half way between the median inside and around each coin, holes filled, total px"] = total
    out["recipe above, total px"] = int(sum(p.area for p in measure.regionprops(lab) if p.area > 30))
    return out


def blobs(path):
    im = np.asarray(Image.open(path).convert("RGBA"))
    assert im.shape[:2] == (760, 541) and (im[..., 3] == 255).all(), im.shape
    im = im[4:-4, 4:-4, :3].max(2)                             # brightest channel; without the white line along the sides
    sheet(HERE / "blobs", "blobs", "Drawn blobs, turned over", 1.0)
    Image.fromarray(255 - im).save(HERE / "blobs" / "blobs.png", optimize=True)
    out = dict(name="blobs", file="blobs/blobs.png", made="255 - largest of the three channels of detect_blob.png, 4 px cut off all around", width=im.shape[1], height=im.shape[0])
    for level in (64, 102, 128):
        r = regions(measure.label(im >= level, connectivity=2))
        out[f"at_{level}"] = dict(objects=len(r), total_area_px=sum(q["area_px"] for q in r), holes=sum(q["holes"] for q in r))
    out["regions"] = regions(measure.label(im >= 102, connectivity=2))
    out.update(objects=len(out["regions"]), source="scikit-image: pixels of the source of at least 102 (half of the 204 that most things have), 8-connected, regionprops; 17 counted by eye. Two things fade to black "
               "(the shaded disc, the red bar), whose areas are a matter of the level: at_64, at_102, at_128")
    assert out["objects"] == 17, out["objects"]
    return out


if __name__ == "__main__":
    target = HERE / "values" / "pictures.json"
    old = {p["name"]: p for p in json.loads(target.read_text(encoding="utf-8"))["pictures"]} if target.exists() else {}
    pictures = [coins(), blobs(sys.argv[1]) if len(sys.argv) > 1 else old["blobs"]]
    head = dict(what="What is in the pictures under coins/ and blobs/", made_with="make_pictures.py", versions=dict(numpy=np.__version__, scikit_image=skimage.__version__))
    body = ",\n".join("  " + json.dumps(p) for p in pictures)
    target.write_text("{\n" + "".join(f" {json.dumps(k)}: {json.dumps(v)},\n" for k, v in head.items()) + ' "pictures": [\n' + body + "\n ]\n}\n", encoding="utf-8")
    for p in pictures:
        print(p["name"], p["objects"], {k: v for k, v in p.items() if k.startswith(("at_", "by_", "total", "areas"))})
