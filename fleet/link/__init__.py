"""The node's HTTP interface from our side: signatures, state documents, signed requests."""
