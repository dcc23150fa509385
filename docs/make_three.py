"""Bundle the drawing library of the page: ``python docs/make_three.py`` (needs npm).

In: the package three of the npm registry, at the version below. Out: `clearance/view/three.min.js`,
what the page uses of it as one plain script, and its licence beside it. Run again only for
another version; `tests/unit/test_view.py` holds the hash of what is shipped.
"""

import shutil
import subprocess
import tempfile
from pathlib import Path

THREE, BUNDLER = "three@0.187.0", "esbuild@0.28.2"
USED = """
  BackSide, BufferAttribute, BufferGeometry, DoubleSide, EdgesGeometry, FrontSide,
  LineBasicMaterial, LineSegments, Mesh, MeshBasicMaterial, NoBlending, NormalBlending,
  OrthographicCamera, Plane, Raycaster, Scene, Vector2, Vector3, WebGLRenderer,
"""
TARGET = Path(__file__).parent.parent / "clearance" / "view"


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        entry = f"export {{{USED}}} from 'three';\n"
        entry += "export { OrbitControls } from 'three/examples/jsm/controls/OrbitControls.js';\n"
        (folder / "entry.js").write_text(entry)
        subprocess.run(["npm", "install", "--silent", THREE, BUNDLER], cwd=folder, check=True)
        words = ["--bundle", "--minify", "--format=iife", "--global-name=THREE", "--charset=ascii"]
        words += ["--legal-comments=none", "--outfile=three.min.js"]
        subprocess.run(["npx", "esbuild", "entry.js", *words], cwd=folder, check=True)
        shutil.copy(folder / "three.min.js", TARGET / "three.min.js")
        shutil.copy(folder / "node_modules/three/LICENSE", TARGET / "three.LICENSE.txt")


if __name__ == "__main__":
    main()
