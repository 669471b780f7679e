"""The belief network: exact posteriors, joint samples, and what a wrong network is refused for."""

import itertools

import numpy as np
import pytest

from pipeline.costing.inference import Solved, solve
from pipeline.costing.network import Link, Network, Node, min_fill_order
from pipeline.costing.noisy_max import noisy_max
from pipeline.errors import RuleError, StageError

PRIORS = {
    "care": {"good": 0.3, "average": 0.5, "poor": 0.2},
    "hard_use": {"no": 0.8, "yes": 0.2},
    "stood": {"no": 0.9, "yes": 0.1},
}
WORSE = ((1.0, 0.0, 0.0), (0.6, 0.3, 0.1), (0.1, 0.3, 0.6))


def chain() -> Network:
    links = {"floor": "carpet", "roof": None, "carpet": "roof", "clutch": None}
    return Network(PRIORS, tuple(Node(n, (Link(p, WORSE),) if p else ()) for n, p in links.items()))


def wear(net: Network, years: np.ndarray) -> dict[str, np.ndarray]:
    """Weibull wear, faster in poor care, some of it major."""
    rate = net.by_root("care", {"good": 0.7, "poor": 1.6}) * net.by_root("hard_use", {"yes": 1.8})
    found = {}
    for number, node in enumerate(net.nodes):
        gone = 1 - np.exp(-((years[:, None] * rate / (20 + 15 * number)) ** 2))
        found[node.id] = np.stack([1 - gone, 0.7 * gone, 0.3 * gone], axis=-1)
    return found


def solved(years: list[float], **evidence: dict[str, np.ndarray]) -> Solved:
    net = chain()
    return solve(net, wear(net, np.array(years)), **evidence)


def test_noisy_max_is_the_worst_of_its_causes() -> None:
    leak, effect = np.array([0.7, 0.2, 0.1]), np.array(WORSE)
    table = noisy_max(leak, [effect, effect])
    for a, b in itertools.product(range(3), repeat=2):
        want = np.zeros(3)
        for i, j, k in itertools.product(range(3), repeat=3):
            want[max(i, j, k)] += leak[i] * effect[a, j] * effect[b, k]
        np.testing.assert_allclose(table[a, b], want, atol=1e-14)


def test_noisy_max_refuses_what_is_no_distribution() -> None:
    with pytest.raises(ValueError, match="sum to 1"):
        noisy_max(np.array([0.7, 0.2, 0.2]), [])


def test_circle_of_faults_is_refused() -> None:
    with pytest.raises(RuleError, match="circle"):
        Network(PRIORS, (Node("a", (Link("b", WORSE),)), Node("b", (Link("a", WORSE),))))


@pytest.mark.parametrize(
    ("priors", "node", "message"),
    [
        (PRIORS, Node("a", (Link("ghost", WORSE),)), "not a fault"),
        (PRIORS, Node("a", (Link("a", ((1.0, 0.0, 0.0), (0.5, 0.2, 0.2), (0.1, 0.3, 0.6))),)), "sum to 1"),
        (PRIORS, Node("a", (Link("a", ((0.9, 0.1, 0.0), (0.5, 0.3, 0.2), (0.1, 0.3, 0.6))),)), "sound parent"),
        ({"care": {"good": 0.7, "poor": 0.2}}, Node("a"), "sum to 1"),
    ],
)
def test_a_wrong_network_is_refused(priors: dict[str, dict[str, float]], node: Node, message: str) -> None:
    with pytest.raises(RuleError, match=message):
        Network(priors, (node,))


def test_order_puts_parents_first() -> None:
    order = chain().order()
    assert order.index("roof") < order.index("carpet") < order.index("floor")


def test_no_evidence_leaves_the_priors() -> None:
    result = solved([12.0])
    for root, prior in PRIORS.items():
        np.testing.assert_allclose(result.roots()[root][0], list(prior.values()), atol=1e-12)
    assert result.log_evidence[0] == pytest.approx(0.0, abs=1e-12)


def test_fault_downstream_and_poor_care_follow_from_a_leaking_roof() -> None:
    before, after = solved([12.0]), solved([12.0], node_likelihood={"roof": np.array([[0.0, 0.0, 1.0]])})
    assert after.marginals()["floor"][0, 2] > before.marginals()["floor"][0, 2]
    assert after.roots()["care"][0, 2] > before.roots()["care"][0, 2]
    np.testing.assert_allclose(after.marginals()["roof"][0], [0, 0, 1], atol=1e-12)


def test_each_vehicle_is_as_if_alone() -> None:
    together = solved([3.0, 25.0]).marginals()
    for v, years in enumerate((3.0, 25.0)):
        for node, alone in solved([years]).marginals().items():
            np.testing.assert_allclose(together[node][v], alone[0], atol=1e-14)


def test_impossible_evidence_is_one_clear_error() -> None:
    with pytest.raises(StageError, match="vehicle index 1"):
        solved([9.0, 9.0], node_likelihood={"roof": np.array([[1.0, 1, 1], [0.0, 0, 0]])})


def test_faint_likelihoods_do_not_underflow() -> None:
    tiny = np.array([[1e-300, 2e-300, 1e-300]])
    plain = tiny * 1e300
    faint = solved([12.0], node_likelihood=dict.fromkeys(("roof", "carpet", "floor", "clutch"), tiny))
    clear = solved([12.0], node_likelihood=dict.fromkeys(("roof", "carpet", "floor", "clutch"), plain))
    np.testing.assert_allclose(faint.marginals()["floor"], clear.marginals()["floor"], atol=1e-12)


def test_samples_follow_the_joint_posterior() -> None:
    result = solved([14.0], node_likelihood={"floor": np.array([[0.2, 0.5, 0.9]])})
    n = 60_000
    roots, states = result.sample(np.random.default_rng(5).random((n, 5)))
    for i, node in enumerate(result.ids):
        shares = np.bincount(states[0, :, i], minlength=3) / n
        np.testing.assert_allclose(shares, result.marginals()[node][0], atol=0.01)
    care = np.array([config[0] for config in result.network.configs])[roots[0]]
    np.testing.assert_allclose(np.bincount(care, minlength=3) / n, result.roots()["care"][0], atol=0.01)
    # The joint too: floors among the vehicles whose carpet is wet, against conditioning on that.
    wet = states[0, :, result.ids.index("carpet")] == 2
    both = {"floor": np.array([[0.2, 0.5, 0.9]]), "carpet": np.array([[0.0, 0.0, 1.0]])}
    want = solved([14.0], node_likelihood=both).marginals()["roof"][0]
    got = np.bincount(states[0, wet, result.ids.index("roof")], minlength=3) / wet.sum()
    np.testing.assert_allclose(got, want, atol=0.03)


def test_same_uniforms_and_evidence_give_the_same_states_for_any_company() -> None:
    uniforms = np.random.default_rng(1).random((500, 5))
    _, pair = solved([14.0, 14.0]).sample(uniforms)
    _, alone = solved([14.0]).sample(uniforms)
    np.testing.assert_array_equal(pair[0], pair[1])
    np.testing.assert_array_equal(pair[0], alone[0])


def test_state_without_chance_is_never_drawn() -> None:
    never = {"clutch": np.array([[1.0, 1.0, 0.0]])}
    uniforms = np.full((4, 5), np.nextafter(1.0, 0.0))
    _, states = solved([14.0], node_likelihood=never).sample(uniforms)
    assert states[0, :, 3].max() == 1


def test_min_fill_takes_leaves_of_a_star_before_its_hub() -> None:
    leaves = tuple("bcdef")
    order = min_fill_order(("a", *leaves), [("a", leaf) for leaf in leaves])
    assert order.index("a") >= len(leaves) - 1
