"""Draws synthetic scans of driven pages with OpenCV and NumPy, independently of the program that reads them.

    python3 draw.py [--seed N --out DIR]
                                       the fixtures of this folder, or others like them elsewhere (frame and strips: project/)
    python3 draw.py --project P --scans exact.csv --out DIR [--large]
                                       one 16-bit scan of every page of P's chart, patches as in exact.csv;
                                       --large: the first page alone, at 600 dpi on A4

Versions that drew the fixtures: opencv-python-headless 5.0.0, numpy 2.4.6, CPython 3.11.
"""
import argparse, csv, os
import cv2
import numpy as np

SCENE = 16.0           # scene pixels per mm
PAPER, INK = 0.86, 0.045
U_LSTAR = 0.08         # how well the wedge's steps are stated
STEPS_LSTAR = np.linspace(22.0, 92.0, 12)


def reflectance(lstar):
    return np.where(lstar > 8, ((lstar + 16) / 116.0) ** 3, lstar * 27 / 24389)


def slope(r):
    return 116 / 3 * r ** (-2 / 3)


def read_csv(path):
    with open(path) as f:
        return list(csv.DictReader(f))


def frame_of(project):
    rows = read_csv(os.path.join(project, "chart-scan-frame.csv"))
    return {r["place"]: tuple(float(r[k]) for k in ("x_mm", "y_mm", "width_mm", "height_mm")) for r in rows}


def box(r):
    x, y, w, h = (round(v * SCENE) for v in r)
    return slice(y, y + h), slice(x, x + w)


def wedge(frame, copies=2):
    """Places with their stated reflectance: the second copy runs the other way over the sheet."""
    steps = []
    for row in "AB"[:copies]:
        for k, r in enumerate(reflectance(STEPS_LSTAR)):
            steps.append((f"{row}{k + 1}", float(r)))
    return steps


def write_wedge(path, steps):
    with open(path, "w") as f:
        f.write("place,reflectance,reflectance_u\n")
        for place, r in steps:
            f.write(f"{place},{r:.5f},{U_LSTAR / slope(r):.6f}\n")


def scene_of(project, frame, number, patches, fill, steps, rng, shift=(0.0, 0.0)):
    """The sheet in linear reflectance: printed frame, strip, wedge, panel."""
    sheet = frame["sheet"]
    size = (round(sheet[2] * SCENE), round(sheet[3] * SCENE))
    printed = cv2.imread(os.path.join(project, "chart-scan-frame.png"), cv2.IMREAD_GRAYSCALE)
    printed = cv2.resize(printed, size, interpolation=cv2.INTER_AREA).astype(np.float64) / 255
    strips_file = f"chart-page-strips-{(number - 1) // 44 + 1:02d}.png"
    strips = cv2.imread(os.path.join(project, strips_file), cv2.IMREAD_GRAYSCALE)
    k, dots = (number - 1) % 44, 300 / 25.4
    x, y = 15 + (k % 2) * 90, 15 + (k // 2) * 12
    w, h = frame["strip"][2:]
    strip = strips[round(y * dots):round((y + h) * dots), round(x * dots):round((x + w) * dots)]
    place = np.array(frame["strip"]) + [*rng.uniform(-0.4, 0.4, 2), 0, 0]
    rows, columns = box(place)
    printed[rows, columns] = cv2.resize(strip, (columns.stop - columns.start, rows.stop - rows.start),
                                        interpolation=cv2.INTER_AREA) / 255
    paper = PAPER * (1 + 0.0012 * cv2.resize(rng.standard_normal((9, 11)), size, interpolation=cv2.INTER_CUBIC))
    scene = INK + (paper - INK) * printed
    for name, stated in steps:
        scene[box(frame[name])] = stated + rng.standard_normal() * U_LSTAR / slope(stated)
    scene[box(frame["window"])] = 0.03
    px, py, pw, ph = frame["panel"]
    px, py = px + shift[0], py + shift[1]
    panel = np.full((fill[1], fill[2]), fill[0])
    for p in patches:
        panel[p["rows"][0]:p["rows"][1] + 1, p["columns"][0]:p["columns"][1] + 1] = p["reflectance"]
    panel *= 1 + 0.004 * rng.standard_normal(panel.shape)
    rows, columns = box((px, py, pw, ph))
    scene[rows, columns] = cv2.resize(panel, (columns.stop - columns.start, rows.stop - rows.start),
                                      interpolation=cv2.INTER_NEAREST)
    return scene


def dirt(scene, frame, rng, specks=0, scratches=0, glare=0):
    px, py, pw, ph = frame["panel"]
    inside = lambda: (int(rng.uniform(px, px + pw) * SCENE), int(rng.uniform(py, py + ph) * SCENE))
    for _ in range(specks):
        cv2.circle(scene, inside(), int(rng.uniform(0.15, 0.4) * SCENE), float(rng.uniform(0.05, 0.2)), -1, cv2.LINE_AA)
    for _ in range(scratches):
        a, b = inside(), inside()
        cv2.line(scene, a, b, 0.95, int(0.12 * SCENE), cv2.LINE_AA)
    for _ in range(glare):
        cv2.circle(scene, inside(), int(0.8 * SCENE), 3.0, -1, cv2.LINE_AA)


def curve(linear, gamma):
    linear = np.clip(linear, 0, None)
    if gamma == "srgb":
        return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055)
    return linear ** (1 / gamma)


def project_to(scene, px_mm, turn, tilt, ground, margin_mm=6.0, blur=0.45):
    """The sheet turned and seen at a slant, area-averaged; the map from mm to pixels."""
    h, w = scene.shape
    mm = np.float64([[0, 0], [w, 0], [w, h], [0, h]]) / SCENE
    centre = mm.mean(axis=0)
    a = np.deg2rad(turn)
    rot = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    seen = (mm - centre) @ rot.T
    depth = 1 + tilt[0] * seen[:, 0] / 100 + tilt[1] * seen[:, 1] / 100
    seen = seen / depth[:, None]
    low, high = seen.min(axis=0) - margin_mm, seen.max(axis=0) + margin_mm
    points = (seen - low) * px_mm
    size = np.ceil((high - low) * px_mm).astype(int)
    over = 4
    h_map = cv2.getPerspectiveTransform(np.float32(mm * SCENE), np.float32(points * over))
    big = cv2.warpPerspective(scene, h_map, tuple(int(s) * over for s in size), flags=cv2.INTER_LINEAR,
                              borderMode=cv2.BORDER_CONSTANT, borderValue=ground)
    picture = cv2.resize(big, tuple(int(s) for s in size), interpolation=cv2.INTER_AREA)
    h_mm = cv2.getPerspectiveTransform(np.float32(mm), np.float32(points))
    return cv2.GaussianBlur(picture, (0, 0), blur), h_mm


def light_of(shape, gx=0.0, gy=0.0, vignette=0.0):
    y, x = np.mgrid[0:shape[0], 0:shape[1]]
    u, v = 2 * x / shape[1] - 1, 2 * y / shape[0] - 1
    return (1 + gx * u + gy * v) / (1 + vignette * (u * u + v * v)) ** 2


def encode(linear, rng, gamma, noise, exposure=0.92, flare=0.004):
    """The scanner's signal, 0 to 1, before rounding."""
    signal = curve(exposure * linear + flare, gamma)
    return signal + noise * rng.standard_normal(signal.shape)


def save(path, signal, bits, colour=False, rng=None, quality=None):
    if colour:
        cast = np.array([0.97, 1.0, 0.94])  # blue, green, red as OpenCV orders them
        signal = signal[..., None] * cast + 0.002 * rng.standard_normal((*signal.shape, 3))
    most = 255 if bits == 8 else 65535
    codes = np.clip(np.round(signal * most), 0, most).astype(np.uint8 if bits == 8 else np.uint16)
    options = []
    if path.endswith(".jpg"):
        options = [cv2.IMWRITE_JPEG_QUALITY, quality or 92]
    if path.endswith(".png"):
        options = [cv2.IMWRITE_PNG_COMPRESSION, 9]
    if path.endswith(".tif"):
        options = [cv2.IMWRITE_TIFF_COMPRESSION, 8, 317, 2]
    cv2.imwrite(path, codes, options)


# name, bits, options of project_to, of light_of, of encode, of dirt, page
SCANS = [
    ("straight.png", 16, dict(turn=0.0, tilt=(0, 0)), {}, dict(gamma="srgb", noise=2e-4), {}, 1),
    ("turned.tif", 16, dict(turn=7.3, tilt=(0, 0)), dict(gx=0.02), dict(gamma=1.0, noise=2e-4), {}, 2),
    ("upside-down.png", 16, dict(turn=178.6, tilt=(0, 0)), dict(gy=0.03), dict(gamma=1.8, noise=2e-4), {}, 1),
    ("uneven.png", 16, dict(turn=-2.0, tilt=(0, 0)), dict(gx=0.12, gy=-0.07, vignette=0.03), dict(gamma="srgb", noise=2e-4), {}, 2),
    ("slanted.png", 16, dict(turn=11.0, tilt=(0.16, -0.1)), dict(vignette=0.04), dict(gamma=2.2, noise=2e-4), {}, 1),
    ("dusty.png", 16, dict(turn=1.5, tilt=(0, 0)), {}, dict(gamma="srgb", noise=2e-4), dict(specks=40, scratches=2, glare=1), 2),
    ("quarter-turn-8.png", 8, dict(turn=91.2, tilt=(0, 0)), {}, dict(gamma="srgb", noise=2.5e-3), {}, 1),
    ("uneven-8.png", 8, dict(turn=-4.0, tilt=(0, 0)), dict(gx=-0.1, gy=0.05, vignette=0.02), dict(gamma=2.2, noise=2.5e-3), {}, 2),
    ("dusty-8.png", 8, dict(turn=0.6, tilt=(0, 0), ground=0.03), {}, dict(gamma=1.8, noise=2.5e-3), dict(specks=40, scratches=1), 1),
    ("colour-8.png", 8, dict(turn=3.0, tilt=(0, 0)), dict(gx=0.03), dict(gamma="srgb", noise=1.5e-3), {}, 2),
    ("noisy-8.png", 8, dict(turn=-15.0, tilt=(0, 0)), {}, dict(gamma="srgb", noise=1.2e-2), {}, 1),
    ("photo.jpg", 8, dict(turn=-6.0, tilt=(-0.2, 0.14)), dict(gx=0.05, vignette=0.05), dict(gamma="srgb", noise=5e-3), {}, 2),
    ("photo-upside-down.jpg", 8, dict(turn=184.0, tilt=(0.1, 0.12)), dict(gy=-0.06, vignette=0.03), dict(gamma=2.2, noise=5e-3), {}, 1),
    ("colour.jpg", 8, dict(turn=24.0, tilt=(0, 0.08)), dict(gx=-0.03), dict(gamma="srgb", noise=4e-3), dict(specks=15), 2),
    ("with-flat.png", 16, dict(turn=0.8, tilt=(0, 0)), dict(gx=0.2, gy=0.1, vignette=0.08), dict(gamma=1.8, noise=2e-4), {}, 1),
]


def fixtures(project, here, seed):
    os.makedirs(here, exist_ok=True)
    frame = frame_of(project)
    steps = wedge(frame)
    write_wedge(os.path.join(project, "wedge.csv"), steps)
    chart = read_csv(os.path.join(project, "chart.csv"))
    rng = np.random.default_rng(seed)
    truth, maps = ["scan,page,patch,reflectance"], ["scan,h11,h12,h13,h21,h22,h23,h31,h32,h33"]
    for name, bits, view, light, signal, dirty, page in SCANS:
        rows = [r for r in chart if r["page"] == f"p{page:02d}"]
        patches = [dict(rows=(int(r["row_first"]), int(r["row_last"])),
                        columns=(int(r["column_first"]), int(r["column_last"])),
                        reflectance=float(reflectance(rng.uniform(40, 88)))) for r in rows]
        scene = scene_of(project, frame, page, patches, (float(reflectance(60.0)), 40, 60), steps, rng,
                         rng.uniform(-0.25, 0.25, 2))
        dirt(scene, frame, rng, **dirty)
        picture, h = project_to(scene, 4.2, **{"ground": 0.8, **view})
        linear = picture * light_of(picture.shape, **light)
        coded = encode(linear, rng, **signal)
        save(os.path.join(here, name), coded, bits, colour="colour" in name, rng=rng)
        if name == "with-flat.png":
            sheet = light_of(picture.shape, **light) * 0.8
            save(os.path.join(here, "flat.png"), encode(sheet, rng, **signal), 8)
        truth += [f"{name},p{page:02d},{r['patch']},{p['reflectance']:.6f}" for r, p in zip(rows, patches)]
        maps.append(name + "," + ",".join(f"{v:.9g}" for v in (h / h[2, 2]).ravel()))
        if name == "straight.png":
            plain = picture
    refused(here, plain, rng)
    homography(here, rng)
    open(os.path.join(here, "truth.csv"), "w").write("\n".join(truth) + "\n")
    open(os.path.join(here, "maps.csv"), "w").write("\n".join(maps) + "\n")


def homography(here, rng):
    """Points that no map fits exactly, and OpenCV's least-squares map through them."""
    known = np.float64([[x, y] for y in (0, 45, 90) for x in (0, 40, 80, 120)])
    h = np.array([[9.1, 1.2, 140], [-0.9, 8.7, 210], [4e-4, -3e-4, 1]])
    seen = np.c_[known, np.ones(len(known))] @ h.T
    seen = seen[:, :2] / seen[:, 2:] + rng.standard_normal(known.shape) * 0.3
    found, _ = cv2.findHomography(known, seen, 0)
    with open(os.path.join(here, "homography.csv"), "w") as f:
        f.write("x_mm,y_mm,x_px,y_px\n")
        f.writelines(f"{a[0]:.6f},{a[1]:.6f},{b[0]:.9f},{b[1]:.9f}\n" for a, b in zip(known, seen))
        f.write("map," + ",".join(f"{v:.12g}" for v in (found / found[2, 2]).ravel()) + "\n")


def refused(here, picture, rng):
    """Scans that must be told from good ones."""
    eight = dict(gamma="srgb", noise=1e-3)
    draw = lambda name, linear, **signal: save(os.path.join(here, name), encode(linear, rng, **{**eight, **signal}), 8)
    draw("mirrored.png", picture[:, ::-1])
    draw("two.png", np.hstack([picture, picture]))
    draw("none.png", np.full((300, 400), 0.7))
    draw("cut-off.png", picture[:, : int(picture.shape[1] * 0.85)])
    draw("saturated.png", picture, exposure=1.9)
    draw("too-dark.png", picture, exposure=0.05, gamma=1.0, flare=0.0)
    draw("blurred.png", cv2.GaussianBlur(picture, (0, 0), 1.7))


def pages(project, scans, out, large):
    frame = frame_of(project)
    steps = wedge(frame)
    os.makedirs(out, exist_ok=True)
    write_wedge(os.path.join(out, "wedge.csv"), steps)
    shown = {(r["page"], r["patch"]): float(r["reflectance"]) for r in read_csv(scans)}
    chart, order = {}, []
    for r in read_csv(os.path.join(project, "chart.csv")):
        if r["page"] not in chart:
            order.append(r["page"])
        chart.setdefault(r["page"], {})[r["patch"]] = r
    rng = np.random.default_rng(7)
    pw, ph = frame["panel"][2:]
    size = (0.4, round(ph / 0.5), round(pw / 0.5))
    for number, page in enumerate(order, 1):
        patches = [dict(rows=(int(r["row_first"]), int(r["row_last"])),
                        columns=(int(r["column_first"]), int(r["column_last"])),
                        reflectance=shown[page, name]) for name, r in chart[page].items()]
        scene = scene_of(project, frame, number, patches, size, steps, rng, rng.uniform(-0.25, 0.25, 2))
        dirt(scene, frame, rng, specks=int(rng.integers(0, 8)))
        px_mm = 600 / 25.4 if large else 6.0
        picture, _ = project_to(scene, px_mm, rng.uniform(-4, 4), (0, 0), 0.8)
        if large:
            a4 = np.full((7016, 4960), 0.8)
            a4[400:400 + picture.shape[0], 600:600 + picture.shape[1]] = picture
            picture = a4
        linear = picture * light_of(picture.shape, *rng.uniform(-0.04, 0.04, 2))
        path = os.path.join(out, f"{page}.tif" if large else f"{page}.png")
        save(path, encode(linear, rng, "srgb", 1e-3), 16, colour=large, rng=rng)
        if large:
            break


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    for name in ("--project", "--scans", "--out"):
        parser.add_argument(name)
    parser.add_argument("--large", action="store_true")
    parser.add_argument("--seed", type=int, default=20)
    asked = parser.parse_args()
    if asked.project:
        pages(asked.project, asked.scans, asked.out, asked.large)
    else:
        own = os.path.dirname(os.path.abspath(__file__))
        fixtures(os.path.join(own, "project"), asked.out or own, asked.seed)
