// Pairs of solids and the volumes that robust booleans of the npm package manifold-3d find for them: what the first
// fills and the second does not, and the other way round. Prints the file booleans.txt beside this script.
//
//   npm install --no-save manifold-3d@3.5.4 && node booleans.mjs > booleans.txt
//
// The layout: `#` lines; then for each pair `pair NAME`, `volumes FIRST SECOND FIRST_ONLY SECOND_ONLY` (mm3), and twice
// `mesh VERTICES TRIANGLES` with one vertex (mm) or one triangle (corners from 0) a line. Coordinates are 32-bit floats
// in full, and the volumes are those of the solids as they are written.
import {readFileSync} from 'node:fs';
import Module from 'manifold-3d';

const version = JSON.parse(readFileSync(new URL('package.json', import.meta.resolve('manifold-3d')))).version;
const library = await Module();
library.setup();
const {Manifold, Mesh} = library;

/** A rock: a sphere's net whose radius is a sum of a few waves over directions. */
function rock(radius, waves, depth, turn)
{
    const segments = 36;
    return Manifold.sphere(1, segments).warp((at) => {
        const [x, y, z] = at;
        let r = 1;
        for (let k = 1; k <= waves; k++)
            r += depth / k * Math.sin(k * (2.1 * x + 1.3 * y - 1.7 * z) + turn * k) *
                 Math.cos(k * (0.7 * z - 1.1 * x + 0.4 * y));
        at[0] = 1.2 * radius * r * x;
        at[1] = radius * r * y;
        at[2] = 0.8 * radius * r * z;
    });
}

/** The solid as it will be written: 32-bit floats, read back. */
function rounded(solid)
{
    const mesh = solid.getMesh();
    const plain = new Mesh({numProp: 3, vertProperties: positions(mesh), triVerts: mesh.triVerts});
    plain.merge();
    return new Manifold(plain);
}

function positions(mesh)
{
    const at = new Float32Array(mesh.numVert * 3);
    for (let i = 0; i < mesh.numVert; i++)
        for (let d = 0; d < 3; d++)
            at[3 * i + d] = mesh.vertProperties[mesh.numProp * i + d];
    return at;
}

function write(solid)
{
    const mesh = solid.getMesh(), at = positions(mesh), lines = [`mesh ${mesh.numVert} ${mesh.numTri}`];
    for (let i = 0; i < mesh.numVert; i++)
        lines.push([...at.slice(3 * i, 3 * i + 3)].map((x) => String(Number(x.toPrecision(9)))).join(' '));
    for (let i = 0; i < mesh.numTri; i++)
        lines.push([...mesh.triVerts.slice(3 * i, 3 * i + 3)].join(' '));
    console.log(lines.join('\n'));
}

function pair(name, one, other)
{
    const first = rounded(one), second = rounded(other);
    const volumes = [first, second, first.subtract(second), second.subtract(first)].map((x) => x.volume());
    console.log(`pair ${name}\nvolumes ${volumes.map((x) => x.toPrecision(12)).join(' ')}`);
    write(first);
    write(second);
}

console.log(`# made by booleans.mjs with manifold-3d ${version}`);
const block = rock(60, 4, 0.12, 0.4);
pair('rock_cut_by_planes', block, block.trimByPlane([-0.48, -0.2, -0.85], -28).trimByPlane([0.9, 0.3, 0.1], -40));
const notch = Manifold.cube([40, 30, 50], true).rotate([25, 40, 10]).translate([45, 10, 30]);
pair('rock_minus_a_tilted_box', block, block.subtract(notch));
pair('two_rocks_that_overlap', block, rock(55, 5, 0.15, 1.9).rotate([30, 70, 15]).translate([14, -9, 11]));
const ring = library.CrossSection.circle(15, 24).translate([45, 0]).revolve(48);
pair('torus_minus_a_sphere', ring, ring.subtract(Manifold.sphere(22, 40).translate([38, 12, 6])));
const lump = Manifold.sphere(14, 32).translate([-50, 15, 20]);
pair('rock_with_a_notch_and_a_lump', block, block.subtract(notch).add(lump));
