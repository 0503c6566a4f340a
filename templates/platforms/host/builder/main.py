"""Build script of the host platform: the same sources give the same bytes, wherever the project lies.

TANKFLEET_OBJECT_CACHE names a folder in which objects are shared between projects.
The result is the same without it.
"""

import os

from SCons.Script import Default, DefaultEnvironment
from SCons.Subst import Literal

env = DefaultEnvironment()
for tool in ("gcc", "g++", "gnulink", "ar"):
    env.Tool(tool)

env.Replace(CC="gcc", CXX="g++", LINK="g++", STRIP="strip", PROGNAME="program.elf", PROGSUFFIX="")
env.Replace(PREFIX_MAP=Literal(f"-ffile-prefix-map={env.subst('$PROJECT_DIR')}=."))
env.Append(
    CXXFLAGS=["-std=c++17", "-fno-exceptions", "-fno-rtti"],
    CCFLAGS=[
        "-Os",
        "-Wall",
        "-Wextra",
        "-Wconversion",
        "-Werror",
        "-ffunction-sections",
        "-fdata-sections",
        "-fno-lto",
        # Keeps the project's own place out of the result; itself kept out of the cache's key.
        "$(",
        "$PREFIX_MAP",
        "$)",
    ],
    LINKFLAGS=["-static", "-fno-lto", "-Wl,--build-id=none", "-Wl,--gc-sections"],
    LIBS=["bearssl"],
)
cache = os.environ.get("TANKFLEET_OBJECT_CACHE")
if cache:
    env.CacheDir(cache)

program = env.BuildProgram()
image = env.Command("$BUILD_DIR/image.elf", program, "$STRIP --strip-all -o $TARGET $SOURCE")
Default([program, image])
