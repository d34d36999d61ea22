"""Compares a result file with what was written, bit for bit.

usage: read.py FILE EXPECTED.json [xarray engines ...]
EXPECTED.json: numbers {path: file of little-endian values}, texts {path: [..]}, attributes {path: {name: value}},
dims {path: [dimension names]}, complete (0 or 1), begin_only (true: columns may hold less than expected of them).
"""

import json
import sys

import h5py
import numpy as np

path, expected_path, engines = sys.argv[1], sys.argv[2], sys.argv[3:]
with open(expected_path, encoding="utf-8") as text:
    expected = json.load(text)


def same_bytes(where, got, file):
    with open(file, "rb") as stream:
        want = stream.read()
    got = np.ascontiguousarray(got)
    assert got.dtype.byteorder in "=<|", (where, got.dtype)
    if expected.get("begin_only"):
        want = want[: got.nbytes]
    assert got.tobytes() == want, f"{where}: {got.dtype} {got.shape} differs from what was written"


def plain(value):
    return value.decode() if isinstance(value, bytes) else value


with h5py.File(path, "r") as f:
    assert f.attrs["complete"] == expected["complete"], f.attrs["complete"]
    for name, file in expected["numbers"].items():
        same_bytes(f"h5py {name}", f[name][()], file)
    for name, texts in expected["texts"].items():
        got = [plain(text) for text in f[name][()]]
        assert got == texts, (name, got, texts)
    for name, attributes in expected["attributes"].items():
        for key, want in attributes.items():
            got = plain(f[name].attrs[key])
            assert got == want, (name, key, got, want)
    for name, dims in expected["dims"].items():
        data = f[name]
        for axis, dim in enumerate(dims):
            scale = data if data.is_scale else data.dims[axis][0]
            assert scale.name.rsplit("/", 1)[1] == dim, (name, axis, scale.name)
            assert scale.is_scale and scale.shape[0] == data.shape[axis], (name, axis)
    visited = []
    f.visititems(lambda name, item: visited.append(name))
    for name in visited:
        item = f[name]
        if isinstance(item, h5py.Dataset) and item.shape:
            item[()]
print(f"h5py {h5py.__version__}: {len(expected['numbers'])} columns of numbers, {len(visited)} objects")

for engine in engines:
    import xarray

    groups = sorted({name.rsplit("/", 1)[0] for kind in ("numbers", "texts") for name in expected[kind]})
    for group in groups:
        with xarray.open_dataset(path, group=group, engine=engine) as data:
            for kind in ("numbers", "texts"):
                for name, want in expected[kind].items():
                    if name.rsplit("/", 1)[0] != group:
                        continue
                    variable = data[name.rsplit("/", 1)[1]]
                    if kind == "numbers":
                        same_bytes(f"xarray {engine} {name}", variable.values, want)
                    else:
                        got = [plain(text) for text in variable.values.tolist()]
                        assert got == want, (engine, name, got, want)
                    dims = expected["dims"].get(name)
                    assert dims is None or list(variable.dims) == dims, (engine, name, variable.dims)
                    for key, value in expected["attributes"].get(name, {}).items():
                        got = variable.attrs[key]
                        assert got == value, (engine, name, key, got, value)
    print(f"xarray {xarray.__version__} with {engine}: {', '.join(groups)}")
