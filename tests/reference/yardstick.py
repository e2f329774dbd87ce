"""The same measurement put together from general-purpose libraries: the yardstick for time and error.

yardstick.py skimage|opencv IMAGE BLANK UM_PX [threads]     (numpy scipy scikit-image opencv-python-headless tifffile imagecodecs)
A careful analyst's script: flat field, optical density, three-way split, watershed, object table.
Versions: numpy 2.4.6, scipy 1.17.1, scikit-image 0.26.0, opencv-python-headless 5.0.0.93, tifffile 2026.3.3, imagecodecs 2026.3.6 (requirements.txt).
"""
import json, sys, time
import numpy as np

def load(p):
    import tifffile, cv2
    return tifffile.imread(p) if p.endswith("tif") else cv2.imread(p, cv2.IMREAD_UNCHANGED)

def skimage_way(img, blank, um):
    from skimage import filters, measure, morphology, segmentation, feature
    from scipy import ndimage as ndi
    od = -np.log10(np.clip(img / np.maximum(filters.gaussian(blank.astype(np.float32), 5), 1), 1e-4, None)).astype(np.float32)
    od = ndi.median_filter(od, 3)
    film = np.median(od)
    gap = ndi.binary_fill_holes(morphology.remove_small_objects(od < film / 2, int(9 / um ** 2)))
    resid = od - np.median(od[~gap])
    thr = filters.threshold_otsu(np.clip(resid[~gap], 0, None))
    part = morphology.remove_small_objects(resid > thr, 9)
    part = ndi.binary_fill_holes(part)
    dist = ndi.distance_transform_edt(part)
    marks = measure.label(morphology.h_maxima(dist, 0.75))
    split = segmentation.watershed(-dist, marks, mask=part)
    whole = measure.label(part)
    tab = measure.regionprops_table(whole, properties=("area", "perimeter", "feret_diameter_max", "solidity", "major_axis_length", "minor_axis_length", "bbox"))
    prim = measure.regionprops_table(split, properties=("area",))
    gaps = measure.label(gap)
    gt = measure.regionprops_table(gaps, properties=("area",))
    gd = ndi.distance_transform_edt(gap).max() * 2 * um
    return report(tab["area"], prim["area"], gap.mean(), gd, um)

def opencv_way(img, blank, um):
    import cv2
    f = img.astype(np.float32); b = cv2.GaussianBlur(blank.astype(np.float32), (0, 0), 5)
    t = cv2.max(f / cv2.max(b, 1.0), 1e-4)
    od = cv2.log(t) * np.float32(-0.4342944819)
    od = cv2.medianBlur(od, 3)
    q = np.clip(od * 100, 0, 255).astype(np.uint8)
    hist = cv2.calcHist([q], [0], None, [256], [0, 256]).ravel()
    film = np.searchsorted(hist.cumsum(), hist.sum() / 2) / 100
    gap = (od < film / 2).astype(np.uint8)
    r = np.clip((od - film) * 150, 0, 255).astype(np.uint8)
    _, part = cv2.threshold(r, 0, 1, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    part = cv2.morphologyEx(part, cv2.MORPH_OPEN, np.ones((2, 2), np.uint8))
    n, lab, stats, cen = cv2.connectedComponentsWithStats(part, connectivity=8)
    ng, glab, gst, _ = cv2.connectedComponentsWithStats(gap, connectivity=8)
    dist = cv2.distanceTransform(part, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    peaks = ((dist == cv2.dilate(dist, np.ones((3, 3)))) & (dist > 0.75)).astype(np.uint8)
    pn, marks = cv2.connectedComponents(peaks)
    marks[(part == 0)] = pn + 1
    rgb = cv2.cvtColor(np.clip(dist * 8, 0, 255).astype(np.uint8), cv2.COLOR_GRAY2BGR)
    cv2.watershed(255 - rgb, marks)
    prim = np.bincount(marks[(marks > 0) & (marks <= pn)].ravel())[1:]
    shapes = []
    cs, _ = cv2.findContours(part, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    for c in cs:
        h = cv2.convexHull(c); ha = cv2.contourArea(h)
        shapes.append((cv2.arcLength(c, True), cv2.minAreaRect(h)[1], ha))
    gd = cv2.distanceTransform(gap, cv2.DIST_L2, cv2.DIST_MASK_PRECISE).max() * 2 * um
    return report(stats[1:, 4], prim[prim > 0], gap.mean(), gd, um)

def report(whole, prim, gapfrac, gapd, um):
    whole = np.asarray(whole, float) * um * um; d = np.sort(2 * np.sqrt(np.asarray(prim, float) * um * um / np.pi))
    D = np.sort(2 * np.sqrt(whole / np.pi))
    c3 = np.cumsum(D ** 3) / (D ** 3).sum()
    return dict(objects=len(D), uncovered_area_pct=float(gapfrac * 100), largest_gap_um=float(gapd), x50_0_um=float(np.median(D)), constituents_x50_0_um=float(np.median(d)),
                x50_3_um=float(np.interp(.5, c3, D)), d32_um=float((D ** 3).sum() / (D ** 2).sum()), particle_area_pct=None, clump_area_fraction_pct=float(100 * whole[2 * np.sqrt(whole / np.pi) > 4].sum() / whole.sum()))

if __name__ == "__main__":
    way, p, b, um = sys.argv[1:5]
    if len(sys.argv) > 5 and way == "opencv":
        import cv2; cv2.setNumThreads(int(sys.argv[5]))
    t0 = time.perf_counter(); img, bl = load(p), load(b); t1 = time.perf_counter()
    out = (skimage_way if way == "skimage" else opencv_way)(img, bl, float(um)); t2 = time.perf_counter()
    print(json.dumps(dict(out, load_s=round(t1 - t0, 3), compute_s=round(t2 - t1, 3))))
