"""Whether a folder lies on a disk of this machine: what the system says of its mounts (proc(5), mountinfo)."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

_NETWORK = (
    "9p acfs afs beegfs ceph cifs coda davfs gfs2 glusterfs gpfs lustre ncpfs nfs nfs4 ocfs2 prl_fs smb smb2 smb3",
    "smbfs vboxsf virtiofs vmhgfs fuse.ceph fuse.davfs2 fuse.gcsfuse fuse.glusterfs fuse.gvfsd-fuse fuse.mfs",
    "fuse.moosefs fuse.rclone fuse.s3fs fuse.smbnetfs fuse.sshfs fuse.vmhgfs-fuse",
)
"""File systems that other machines write as well, by the names that Linux and FUSE give them. From the kernel's
Documentation/filesystems and the manual pages of the FUSE ones, from memory; a kind that is not here is still found
if it refuses write-ahead logging."""
NETWORK_KINDS: Final = frozenset(kind for line in _NETWORK for kind in line.split())
_ESCAPED = re.compile(r"\\([0-7]{3})")


def kind_of_disk(folder: Path, mounts: str | None = None) -> str:
    """The name of the file system that holds the folder, or would; empty where the system does not say. `mounts`: the
    text of /proc/self/mountinfo."""
    if mounts is None:
        try:
            mounts = Path("/proc/self/mountinfo").read_text(encoding="utf-8", errors="surrogateescape")
        except OSError:
            return ""
    where = folder.resolve()
    best, kind = -1, ""
    for line in mounts.splitlines():
        before, _, after = line.partition(" - ")
        fields = before.split(" ")
        if len(fields) < 5 or not after:
            continue
        point = Path(_ESCAPED.sub(lambda m: chr(int(m[1], 8)), fields[4]))
        depth = len(point.parts)
        if (
            where.is_relative_to(point) and depth >= best
        ):  # of two at one place the later one hides the earlier
            best, kind = depth, after.split(" ")[0]
    return kind


def on_network(kind: str) -> bool:
    """Whether that is a file system that other machines write as well."""
    return kind in NETWORK_KINDS
