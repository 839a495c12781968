"""Site criteria, one file each; loaded by the entry-point group `stovergeo.site_criteria`."""
