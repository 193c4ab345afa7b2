package peer.validate;

import java.io.BufferedReader;
import java.io.IOException;
import java.io.InputStream;
import java.io.InputStreamReader;
import java.nio.charset.StandardCharsets;
import java.util.List;

/**
 * Shows that the validator refuses what R4 forbids and lets pass what it
 * allows: selftest.txt has the cases, and names R4's rule beside each.
 */
final class SelfTest {
    private static final String CASES = "/selftest.txt";
    private static final String GOOD = "good";

    private SelfTest() {
    }

    /** Prints one line per case; returns the exit code. */
    static int run(Judge judge) throws IOException {
        int passed = 0;
        int failed = 0;
        for (String line : lines()) {
            int colon = line.indexOf(": ");
            String wanted = line.substring(0, colon);
            List<Judge.Problem> errors = judge
                .judge(line.substring(colon + 2)).stream()
                .filter(Judge.Problem::isError).toList();
            boolean right = wanted.equals(GOOD) ? errors.isEmpty()
                : errors.stream().anyMatch(error -> names(error, wanted));
            System.out.println((right ? "ok: " : "NOT OK: ") + line
                + (right ? "" : "\n  said " + errors));
            passed += right ? 1 : 0;
            failed += right ? 0 : 1;
        }
        System.out.println(passed + " passed, " + failed + " failed");
        return failed == 0 && passed > 0 ? 0 : 1;
    }

    private static boolean names(Judge.Problem error, String wanted) {
        return (error.place() + " " + error.rule() + " " + error.message())
            .contains(wanted);
    }

    /** The cases: neither empty lines nor the comments. */
    private static List<String> lines() throws IOException {
        InputStream file = SelfTest.class.getResourceAsStream(CASES);
        if (file == null) {
            throw new IOException(CASES + " is not in the jar");
        }
        try (BufferedReader in = new BufferedReader(new InputStreamReader(
            file, StandardCharsets.UTF_8))) {
            return in.lines().filter(line -> !line.isBlank()
                && !line.startsWith("#")).toList();
        }
    }
}
