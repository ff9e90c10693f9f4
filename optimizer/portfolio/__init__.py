"""One command over a folder of project files, on the processes of a cluster.

if __name__ == "__main__":  # the workers are started by spawning, which imports the main module
    from optimizer.portfolio import run_portfolio

    print(run_portfolio("packs", "predict").status)
"""

from optimizer.portfolio.cluster import ClusterLost
from optimizer.portfolio.run import Stopped, run_portfolio

__all__ = ["ClusterLost", "Stopped", "run_portfolio"]
