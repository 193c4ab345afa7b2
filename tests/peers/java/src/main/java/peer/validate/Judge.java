package peer.validate;

import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.context.support.ConceptValidationOptions;
import ca.uhn.fhir.context.support.DefaultProfileValidationSupport;
import ca.uhn.fhir.context.support.IValidationSupport;
import ca.uhn.fhir.context.support.ValidationSupportContext;
import ca.uhn.fhir.parser.DataFormatException;
import ca.uhn.fhir.validation.FhirValidator;
import ca.uhn.fhir.validation.ResultSeverityEnum;
import ca.uhn.fhir.validation.SingleValidationMessage;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import org.hl7.fhir.common.hapi.validation.support.CommonCodeSystemsTerminologyService;
import org.hl7.fhir.common.hapi.validation.support.InMemoryTerminologyServerValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.PrePopulatedValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.UnknownCodeSystemWarningValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.ValidationSupportChain;
import org.hl7.fhir.common.hapi.validation.validator.FhirInstanceValidator;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.CodeSystem;
import org.hl7.fhir.r5.utils.validation.constants.BestPracticeWarningLevel;

/**
 * HL7's instance validator with the definitions of R4 4.0.1, and nothing from
 * any network: a code system that is neither R4's nor given is a warning.
 */
final class Judge {
    private final FhirContext context = FhirContext.forR4();
    private final FhirValidator validator;

    /** @param codeSystems a Bundle of CodeSystems, or null */
    Judge(Path codeSystems) throws IOException {
        UnknownCodeSystemWarningValidationSupport unknown =
            new UnknownCodeSystemWarningValidationSupport(context);
        unknown.setNonExistentCodeSystemSeverity(
            IValidationSupport.IssueSeverity.WARNING);
        PrePopulatedValidationSupport local = localCodes(codeSystems);
        FhirInstanceValidator instance = new FhirInstanceValidator(
            new ValidationSupportChain(
                new DefaultProfileValidationSupport(context),
                local, new Codes(context, local),
                new CommonCodeSystemsTerminologyService(context), unknown));
        // What a reference names lies on a server that is not asked here;
        // its type is still read from the reference itself.
        instance.setAssumeValidRestReferences(true);
        instance.setAnyExtensionsAllowed(true);
        // Advice such as "should have a performer" is no finding.
        instance.setBestPracticeWarningLevel(BestPracticeWarningLevel.Hint);
        validator = context.newValidator();
        validator.registerValidatorModule(instance);
    }

    /**
     * Looks codes up, and for the given systems compares the display too:
     * HAPI leaves displays alone unless asked.
     */
    private static final class Codes
        extends InMemoryTerminologyServerValidationSupport {
        private final PrePopulatedValidationSupport local;

        Codes(FhirContext context, PrePopulatedValidationSupport local) {
            super(context);
            this.local = local;
            setIssueSeverityForCodeDisplayMismatch(
                IValidationSupport.IssueSeverity.ERROR);
        }

        @Override
        public CodeValidationResult validateCode(ValidationSupportContext
            within, ConceptValidationOptions options, String system,
            String code, String display, String valueSet) {
            if (display != null && system != null
                && local.isCodeSystemSupported(within, system)) {
                options.setValidateDisplay(true);
            }
            return super.validateCode(within, options, system, code, display,
                valueSet);
        }
    }

    private PrePopulatedValidationSupport localCodes(Path file)
        throws IOException {
        PrePopulatedValidationSupport codes =
            new PrePopulatedValidationSupport(context);
        if (file == null) {
            return codes;
        }
        Bundle bundle;
        try {
            bundle = context.newJsonParser().parseResource(Bundle.class,
                Files.readString(file));
        } catch (DataFormatException e) {
            throw new IOException(file + ": no Bundle: " + e.getMessage(), e);
        }
        for (Bundle.BundleEntryComponent entry : bundle.getEntry()) {
            if (!(entry.getResource() instanceof CodeSystem system)) {
                throw new IOException(file + ": an entry is no CodeSystem");
            }
            codes.addCodeSystem(system);
        }
        if (bundle.getEntry().isEmpty()) {
            throw new IOException(file + ": no CodeSystem in it");
        }
        return codes;
    }

    /** All problems of one resource, in the validator's order. */
    List<Problem> judge(String resource) {
        List<Problem> problems = new ArrayList<>();
        try {
            for (SingleValidationMessage message
                : validator.validateWithResult(resource).getMessages()) {
                problems.add(new Problem(message.getSeverity(),
                    message.getLocationString(), message.getMessageId(),
                    message.getMessage()));
            }
        } catch (RuntimeException e) {
            // Text that is no JSON object at all ends up here.
            problems.add(new Problem(ResultSeverityEnum.FATAL, "",
                e.getClass().getSimpleName(), e.getMessage()));
        }
        return problems;
    }

    /**
     * One thing found.
     *
     * @param severity how bad
     * @param place the FHIRPath of the element
     * @param rule the validator's name of the rule, may be null
     * @param message what it says, in English
     */
    record Problem(ResultSeverityEnum severity, String place, String rule,
        String message) {
        boolean isError() {
            return severity.ordinal() >= ResultSeverityEnum.ERROR.ordinal();
        }
    }
}
