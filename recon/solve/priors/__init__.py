"""What is known before the photos speak: a plan, or a person's word about a frame read before."""
