"""Draws growth.csv as growth.svg, both axes logarithmic, with the slope of the last decade: python growth_plot.py CSV SVG"""
import csv, math, sys

rows = [(float(r["rows"]), float(r["accumulate_s"]), float(r["fit_s"])) for r in csv.DictReader(open(sys.argv[1]))]
lines = {"total": [(r, a + f) for r, a, f in rows], "moments": [(r, a) for r, a, _ in rows], "fit from moments": [(r, f) for r, _, f in rows]}
ys = [y for line in lines.values() for _, y in line]
x0, x1 = math.log10(rows[0][0]), math.log10(rows[-1][0])
y0, y1 = math.floor(math.log10(min(ys))), math.ceil(math.log10(max(ys)))
px = lambda x: 70 + 480 * (math.log10(x) - x0) / (x1 - x0)
py = lambda y: 350 - 300 * (math.log10(y) - y0) / (y1 - y0)
out = ['<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 640 420" font-family="sans-serif" font-size="13">', '<rect width="640" height="420" fill="white"/>']
for e in range(math.ceil(x0), math.floor(x1) + 1):
    out.append(f'<line x1="{px(10**e):.1f}" x2="{px(10**e):.1f}" y1="50" y2="350" stroke="#ddd"/><text x="{px(10**e):.1f}" y="370" text-anchor="middle">1e{e}</text>')
for e in range(y0, y1 + 1):
    out.append(f'<line x1="70" x2="550" y1="{py(10**e):.1f}" y2="{py(10**e):.1f}" stroke="#ddd"/><text x="62" y="{py(10**e) + 4:.1f}" text-anchor="end">{10.0**e:g}</text>')
for (name, line), colour in zip(lines.items(), ["#1b3a57", "#b3541e", "#4c7a34"]):
    points = " ".join(f"{px(x):.1f},{py(y):.1f}" for x, y in line)
    out.append(f'<polyline points="{points}" fill="none" stroke="{colour}" stroke-width="2"/>')
    out += [f'<circle cx="{px(x):.1f}" cy="{py(y):.1f}" r="3" fill="{colour}"/>' for x, y in line]
    out.append(f'<text x="555" y="{py(line[-1][1]) + 4:.1f}" fill="{colour}">{name}</text>')
last = [(x, y) for x, y in lines["total"] if x >= rows[-1][0] / 20]
slope = math.log(last[-1][1] / last[0][1]) / math.log(last[-1][0] / last[0][0])
out.append(f'<text x="70" y="30">seconds against rows, panel model; slope of the total from {last[0][0]:.0e} to {last[-1][0]:.0e} rows: {slope:.2f}</text>')
out.append('<text x="310" y="400" text-anchor="middle">rows</text></svg>')
open(sys.argv[2], "w").write("\n".join(out))
print(f"slope {slope:.3f}")
