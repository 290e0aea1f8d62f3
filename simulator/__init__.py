"""An independent physical model of a container-sized indoor farm, with faults on demand."""
