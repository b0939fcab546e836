"""Reports, certificates, labels and plots."""
