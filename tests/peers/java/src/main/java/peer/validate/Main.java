package peer.validate;

import com.fasterxml.jackson.databind.ObjectMapper;
import com.fasterxml.jackson.databind.node.ObjectNode;
import java.io.BufferedReader;
import java.io.IOException;
import java.io.InputStreamReader;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.NoSuchFileException;
import java.nio.file.Path;
import java.util.List;
import java.util.Locale;

/**
 * Judges FHIR R4 resources and prints one JSON line per problem.  Exit code
 * 0: no error, 1: at least one error, 2: could not do its work.
 */
public final class Main {
    private static final ObjectMapper JSON = new ObjectMapper();

    private final Judge judge;
    private final Options options;
    private long resources;
    private long errors;

    private Main(Options options) throws IOException {
        this.options = options;
        this.judge = new Judge(options.codeSystems());
    }

    public static void main(String[] args) {
        Locale.setDefault(Locale.ENGLISH);
        try {
            Options options = Options.of(args);
            System.exit(options.selfTest()
                ? SelfTest.run(new Judge(options.codeSystems()))
                : new Main(options).run());
        } catch (NoSuchFileException e) {
            System.err.println("validate: no such file: " + e.getMessage());
            System.exit(2);
        } catch (IOException | IllegalArgumentException e) {
            System.err.println("validate: " + e.getMessage());
            System.exit(2);
        }
    }

    private int run() throws IOException {
        if (options.files().isEmpty()) {
            readLines("-", new BufferedReader(new InputStreamReader(
                System.in, StandardCharsets.UTF_8)));
        }
        for (Path file : options.files()) {
            if (file.toString().endsWith(".json")) {
                print(file.toString(), 1, Files.readString(file));
            } else {
                try (BufferedReader in = Files.newBufferedReader(file)) {
                    readLines(file.toString(), in);
                }
            }
        }
        System.err.println("validate: " + resources + " resources, " + errors
            + " errors");
        if (resources == 0) {
            throw new IOException("nothing to judge");
        }
        return errors > 0 ? 1 : 0;
    }

    private void readLines(String name, BufferedReader in)
        throws IOException {
        long number = 0;
        for (String line = in.readLine(); line != null; line = in.readLine()) {
            number++;
            if (!line.isBlank()) {
                print(name, number, line);
            }
        }
    }

    private void print(String name, long line, String resource)
        throws IOException {
        resources++;
        List<Judge.Problem> problems = judge.judge(resource);
        for (Judge.Problem problem : problems) {
            errors += problem.isError() ? 1 : 0;
            if (problem.severity().ordinal() < options.least().ordinal()) {
                continue;
            }
            ObjectNode out = JSON.createObjectNode();
            out.put("file", name);
            out.put("line", line);
            out.put("severity", problem.severity().getCode());
            out.put("place", problem.place());
            out.put("rule", problem.rule());
            out.put("message", problem.message());
            System.out.println(JSON.writeValueAsString(out));
        }
        System.out.flush();
    }
}
