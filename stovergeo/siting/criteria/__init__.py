"""Site criteria, one file each; they come through the door `stovergeo.site_criteria`."""
