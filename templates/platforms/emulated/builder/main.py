"""Build script of the emulated chips: each source in `src/programs` becomes a program with all the other sources and
libraries, which are compiled once.

`build_flags` of the project apply to all. TANKFLEET_OBJECT_CACHE names a folder in which objects are shared.
"""

import os

from SCons.Script import Default, DefaultEnvironment
from SCons.Subst import Literal

env = DefaultEnvironment()
for tool in ("gcc", "g++", "as", "gnulink", "ar"):
    env.Tool(tool)
board = env.BoardConfig()
toolchain = board.get("build.toolchain")
chips = os.path.join(env.PioPlatform().get_dir(), "chips")
chip = os.path.join(chips, board.get("build.mcu"))

env.Replace(PREFIX_MAP=Literal(f"-ffile-prefix-map={env.subst('$PROJECT_DIR')}=."))

# Linked by the C compiler: Debian's cross compilers bring no standard C++ library.
env.Replace(
    CC=f"{toolchain}gcc",
    CXX=f"{toolchain}g++",
    AS=f"{toolchain}gcc",
    LINK=f"{toolchain}gcc",
    AR=f"{toolchain}ar",
    RANLIB=f"{toolchain}ranlib",
    PROGSUFFIX=".elf",
)
env.Append(
    CXXFLAGS=["-std=gnu++17", "-fno-exceptions", "-fno-rtti", "-fno-threadsafe-statics"],
    CCFLAGS=[
        *board.get("build.flags"),
        "-Os",
        "-Wall",
        "-Wextra",
        "-Werror",
        "-ffunction-sections",
        "-fdata-sections",
        "-fno-lto",
        # Keeps the project's own place out of the result; itself kept out of the cache's key.
        "$(",
        "$PREFIX_MAP",
        "$)",
    ],
    ASPPFLAGS=[*board.get("build.flags"), "-c"],
    LINKFLAGS=[*board.get("build.flags"), *board.get("build.link_flags"), "-Wl,--gc-sections"],
)
if board.get("build.script", ""):
    env.Append(LINKFLAGS=["-T", os.path.join(chip, board.get("build.script"))])
cache = os.environ.get("TANKFLEET_OBJECT_CACHE")
if cache:
    env.CacheDir(cache)

env.ProcessProgramDeps()
env.ProcessProjectDeps()
env.BuildSources(os.path.join("$BUILD_DIR", "chips", "common"), os.path.join(chips, "common"))
env.BuildSources(os.path.join("$BUILD_DIR", "chips", "this"), chip)

programs_dir = os.path.join(env.subst("$BUILD_SRC_DIR"), "programs") + os.sep
objects = env.Flatten(env["PIOBUILDFILES"])
shared = [node for node in objects if not node.get_abspath().startswith(programs_dir)]
for node in objects:
    if node not in shared:
        name = os.path.basename(node.get_abspath()).partition(".")[0]
        Default(env.Program(os.path.join("$BUILD_DIR", name), [node, *shared]))
