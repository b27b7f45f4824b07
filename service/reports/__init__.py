"""What leaves the house on paper or as a file: inventories and manifests."""
