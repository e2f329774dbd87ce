"""What render_films.py plants besides flat discs: fibres, cracks, crystals, dust, bubbles, droplets, thick and unsharp particles.

Everything is closed form or plain numerical integration. Shapes and optical densities are invented for these films (common practice, no source);
the optics of each thing stands beside it.
"""
import math
import numpy as np
import scipy.fft as sf
import shapely
from numpy.polynomial.legendre import leggauss


def share(d, nx, ny, h):
    """Share of a square cell of side h inside the half plane whose edge passes at signed distance d of its centre. Closed form."""
    a, b = np.abs(nx), np.abs(ny)
    t = -d / h
    s, m, ab2 = (a + b) / 2, np.abs(a - b) / 2, np.maximum(2 * a * b, 1e-9)
    mid = 0.5 + t / np.maximum(np.maximum(a, b), 1e-9)
    out = np.where(np.abs(t) <= m, mid, np.where(t < 0, (t + s) ** 2 / ab2, 1 - (s - t) ** 2 / ab2))
    return np.where(t <= -s, 0.0, np.where(t >= s, 1.0, out))


class Tube:
    """Everything within half a width of some polylines: fibres and cracks, with round ends and joints."""
    disc = False

    def __init__(self, lines, width, dx=0.0, dy=0.0):
        self.lines = [np.asarray(q, float) + (dx, dy) for q in lines]
        self.half = width / 2
        self.poly = shapely.union_all([shapely.LineString(q).buffer(self.half, quad_segs=64) for q in self.lines])
        self.edge = np.array(self.poly.exterior.coords)
        c = self.poly.centroid
        self.x, self.y = c.x, c.y
        self.rmax = float(np.hypot(self.edge[:, 0] - c.x, self.edge[:, 1] - c.y).max())
        self.segments = [(a[0], a[1], b[0], b[1]) for q in self.lines for a, b in zip(q[:-1], q[1:])]
        self.length = sum(math.hypot(c - a, d - b) for a, b, c, d in self.segments)

    def plain(self):
        """One piece that does not close a ring."""
        return self.poly.geom_type == "Polygon" and not self.poly.interiors and all(shapely.LineString(q).is_simple for q in self.lines)

    def area(self):
        return self.poly.area

    def box(self):
        return self.poly.bounds

    def outline(self, n):
        """Points evenly along the edge, and the corners, between which a circle could slip otherwise."""
        ring = self.poly.exterior
        return np.concatenate([[ring.interpolate(t, normalized=True).coords[0] for t in np.arange(n) / n], self.edge[:-1]])

    def circles(self, step=0.5):
        """Circles that cover it, for keeping others away."""
        out = []
        for a, b, c, d in self.segments:
            k = max(1, math.ceil(math.hypot(c - a, d - b) / (self.half * 2 * step)))
            out += [(a + (c - a) * i / k, b + (d - b) * i / k, self.half) for i in range(k + 1)]
        return out

    @staticmethod
    def _segment(X, Y, s):
        a, b, c, d = s
        ux, uy = c - a, d - b
        t = np.clip(((X - a) * ux + (Y - b) * uy) / (ux * ux + uy * uy), 0, 1)
        ex, ey = X - a - t * ux, Y - b - t * uy
        return np.sqrt(ex * ex + ey * ey) + 1e-12, ex, ey

    def signed(self, X, Y):
        X, Y = np.broadcast_arrays(np.asarray(X, float), np.asarray(Y, float))
        best = np.full(X.shape, np.inf); nx = np.ones(X.shape); ny = np.zeros(X.shape)
        for s in self.segments:
            r, ex, ey = self._segment(X, Y, s)
            m = r < best
            best = np.where(m, r, best); nx = np.where(m, ex / r, nx); ny = np.where(m, ey / r, ny)
        return best - self.half, nx, ny

    def cells(self, x0, y0, n, m, h):
        """Cell shares on n x m cells of side h from (x0, y0); each segment only where it is near."""
        best = np.full((m, n), 1e9, np.float32); gx = np.ones((m, n), np.float32); gy = np.zeros((m, n), np.float32)
        reach = self.half + 2 * h
        for s in self.segments:
            i0 = max(0, int((min(s[0], s[2]) - reach - x0) / h)); i1 = min(n, int((max(s[0], s[2]) + reach - x0) / h) + 1)
            j0 = max(0, int((min(s[1], s[3]) - reach - y0) / h)); j1 = min(m, int((max(s[1], s[3]) + reach - y0) / h) + 1)
            if i1 <= i0 or j1 <= j0:
                continue
            X = (x0 + (np.arange(i0, i1) + 0.5) * h)[None, :]; Y = (y0 + (np.arange(j0, j1) + 0.5) * h)[:, None]
            r, ex, ey = self._segment(X, Y, s)
            w = (slice(j0, j1), slice(i0, i1))
            near = r < best[w]
            gx[w] = np.where(near, ex / r, gx[w]); gy[w] = np.where(near, ey / r, gy[w]); best[w] = np.where(near, r, best[w])
        return share(best.astype(float) - self.half, gx, gy, h)


def fibre_lines(rng, length):
    """A gently curved centre line: two arcs that meet without a corner, turning by at most 50 degrees each, in steps of 3 px."""
    n = max(8, int(length / 3))
    first = rng.uniform(0.3, 0.7)
    turn = np.radians(rng.uniform(-50, 50, 2))
    s = (np.arange(n) + 0.5) / n
    a = rng.random() * 2 * math.pi + np.where(s < first, turn[0] * s / first, turn[0] + turn[1] * (s - first) / (1 - first))
    p = np.concatenate([[[0, 0]], np.cumsum(np.column_stack([np.cos(a), np.sin(a)]) * (length / n), axis=0)])
    return [p - p.mean(0)]


def crack_lines(rng, length, branched):
    """A zig-zag of straight pieces that turn by 20 to 70 degrees, to one side and the other, about one direction; perhaps one side branch."""
    def zigzag(x, y, way, length):
        p, side = [(x, y)], 1 if rng.random() < 0.5 else -1
        while length > 0:
            step = min(length, rng.uniform(22, 55))
            a = way + side * math.radians(rng.uniform(10, 35))
            p.append((p[-1][0] + step * math.cos(a), p[-1][1] + step * math.sin(a)))
            length -= max(step, 1e-6); side = -side
            if 0 < length < 12:
                break
        return np.array(p)
    way = rng.random() * 2 * math.pi
    main = zigzag(0, 0, way, length)
    lines = [main]
    if branched and len(main) > 3:
        x, y = main[int(rng.integers(1, len(main) - 1))]
        lines.append(zigzag(x, y, way + (1 if rng.random() < 0.5 else -1) * math.radians(rng.uniform(60, 100)), length * rng.uniform(0.25, 0.45)))
    c = np.concatenate(lines).mean(0)
    return [q - c for q in lines]


def polygon_radii(corners, angles):
    """r(theta) of a convex polygon around the origin, exactly at each angle."""
    r = np.full(len(angles), np.inf)
    ux, uy = np.cos(angles), np.sin(angles)
    for (a, b), (c, d) in zip(corners, np.roll(corners, -1, axis=0)):
        nx, ny = d - b, a - c                                    # outward for counter-clockwise corners
        k = nx * ux + ny * uy
        with np.errstate(divide="ignore"):
            r = np.where(k > 1e-12, np.minimum(r, (nx * a + ny * b) / k), r)
    return r


def needle_corners(rng, length, width):
    """A long hexagon: a bar with pointed ends, each point as long as the bar is wide."""
    a, b = length / 2, width / 2
    p = np.array([(a, 0), (a - b, b), (-a + b, b), (-a, 0), (-a + b, -b), (a - b, -b)])
    t = rng.random() * math.pi
    return p @ np.array([[math.cos(t), math.sin(t)], [-math.sin(t), math.cos(t)]])


def plate_corners(rng, d):
    """Four to six corners on an ellipse of aspect 0.75 to 1, not far from evenly spaced."""
    k = int(rng.integers(4, 7))
    a = (np.arange(k) + rng.uniform(-0.16, 0.16, k)) * (2 * math.pi / k)
    p = np.column_stack([np.cos(a), np.sin(a) * rng.uniform(0.75, 1)]) * (d / 2)
    t = rng.random() * 2 * math.pi
    p = p @ np.array([[math.cos(t), math.sin(t)], [-math.sin(t), math.cos(t)]])
    return p - np.array(shapely.Polygon(p).centroid.coords[0])


def speck_radii(rng, d, angles):
    """An irregular speck of area-equivalent diameter d, angular rather than round."""
    r = np.ones(len(angles))
    for k, a in ((2, 0.22), (3, 0.16), (5, 0.1), (7, 0.06), (11, 0.04)):
        r = r + a * rng.uniform(0.4, 1) * np.cos(k * angles + rng.random() * 2 * math.pi)
    r = np.maximum(r, 0.35)
    return r * (d / 2 / math.sqrt(np.mean(r ** 2)))


def radial_cells(x, y, x0, y0, n, m, h, fun, k=4):
    """Means over cells of a function of the distance to (x, y), by k x k midpoints a cell."""
    X = (x0 + (np.arange(n * k) + 0.5) * (h / k) - x)[None, :]; Y = (y0 + (np.arange(m * k) + 0.5) * (h / k) - y)[:, None]
    return fun(np.sqrt(X * X + Y * Y)).reshape(m, k, n, k).mean((1, 3))


def sphere_transmission(radius, od_centre):
    """Absorbing sphere: OD in proportion to the chord 2 sqrt(r^2 - rho^2) (Beer-Lambert along straight rays)."""
    return lambda q: 10 ** (-od_centre * np.sqrt(np.maximum(1 - (q / radius) ** 2, 0)))


def lost_from(m, acceptance):
    """Refracting sphere of relative index m: rays at impact b = rho/r leave turned by 2 (asin b - asin(b/m)) (two refractions, geometric
    optics, reflections left out); those beyond the objective's acceptance are lost. Returns the b from which on they are."""
    lo, hi = 0.0, 1.0
    for _ in range(60):
        b = (lo + hi) / 2
        if 2 * (math.asin(b) - math.asin(b / m)) > acceptance:
            hi = b
        else:
            lo = b
    return hi


def droplet_transmission(radius, ring, od_ring, lighter_od):
    """A droplet in the film: less film in its middle (OD less by lighter_od), a dark ring of share `ring` of the radius, sin^2 across."""
    def fun(q):
        u = np.clip((q / radius - (1 - ring)) / ring, 0, 1)
        inner = np.clip((1 - q / radius) / (ring / 2), 0, 1)
        od = od_ring * np.sin(math.pi * u) ** 2 - lighter_od * inner * inner * (3 - 2 * inner)
        return np.where(q < radius, 10 ** -od, 1.0)
    return fun


def rim_profile(u):
    """Height of a dewetting rim over 0..1 from the edge outwards: steep at the bare side, its top at a quarter."""
    return np.where((u > 0) & (u < 1), np.sin(math.pi * np.sqrt(np.clip(u, 0, 1))) ** 2, 0.0)


def defocus_otf(z_um, na, wavelength_um, index):
    """Incoherent transfer function at defocus z, by quadrature of the pupil's autocorrelation.

    Pupil exp(i 2 pi n z / lambda sqrt(1 - (rho NA / n)^2)), |rho| <= 1; OTF(s) is the integral of P(q + s/2) P*(q - s/2) over the overlap of
    two unit circles a distance s apart, over pi. Returned as a table over s = 0..2 (s = 2 is the cut-off 2 NA / lambda)."""
    g, w = leggauss(96)
    s = np.linspace(0, 2, 401)
    out = np.zeros(len(s))
    phase = lambda x, y: 2 * math.pi * index * z_um / wavelength_um * np.sqrt(np.maximum(1 - (x * x + y * y) * (na / index) ** 2, 0))
    for i, v in enumerate(s[:-1]):
        # the overlap is even in both axes: x = half its width times sin(t) takes the corner's root away
        t = math.pi / 4 * (g + 1); wt = math.pi / 4 * w
        e = 1 - v / 2
        y = e * (1 - np.cos(t)); dy = e * np.sin(t)              # along the shift
        half = np.sqrt(np.maximum(1 - (y + v / 2) ** 2, 0))
        x = half[:, None] * (g[None, :] + 1) / 2
        p = phase(y[:, None] + v / 2, x) - phase(y[:, None] - v / 2, x)
        out[i] = 4 * np.sum(wt[:, None] * dy[:, None] * half[:, None] * (w[None, :] / 2) * np.cos(p)) / math.pi
    return s, out


def blur_layers(layers, s, cutoff_per_px):
    """Sums layers of cells, each blurred by its own transfer table, and sums cells to pixels. layers: [(cells, s table, OTF table)]."""
    total = None
    for t, ss, table in layers:
        ny, nx = t.shape
        f = sf.rfft2(t, workers=1, overwrite_x=True)
        fy = (np.fft.fftfreq(ny) * s).astype(np.float32); fx = (np.fft.rfftfreq(nx) * s).astype(np.float32)
        for a in range(0, ny, 256):
            r = np.sqrt(fy[a:a + 256, None] ** 2 + fx[None, :] ** 2) * (2 / cutoff_per_px)
            f[a:a + 256] *= np.interp(r, ss, table, right=0.0).astype(np.float32)
        total = f if total is None else total + f
    t = sf.irfft2(total, s=(ny, nx), workers=1, overwrite_x=True)
    return t.reshape(ny // s, s, nx // s, s).mean((1, 3), dtype=np.float64)
